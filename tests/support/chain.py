"""Invented boards of any size: enable chains of stages of several kinds, one behind the other."""

from __future__ import annotations

from collections.abc import Callable

from seqsim.circuit import Circuit, parse_circuit

STATES = ("off", "waiting", "running")


def _double_inversion(k: int, enable: str, out: str) -> list[str]:
    """Two NPN stages in a row; 8 parts."""
    return [
        f"R{k}1: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [{enable}, B{k}]}}",
        f"R{k}2: {{kind: resistor, ohms: 100k, tolerance: 1%, pins: [B{k}, GND]}}",
        f"Q{k}1: {{kind: npn, pins: {{B: B{k}, C: N{k}, E: GND}}}}",
        f"R{k}3: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [V5, N{k}]}}",
        f"R{k}4: {{kind: resistor, ohms: 22k, tolerance: 1%, pins: [N{k}, P{k}]}}",
        f"R{k}5: {{kind: resistor, ohms: 100k, tolerance: 1%, pins: [P{k}, GND]}}",
        f"Q{k}2: {{kind: npn, pins: {{B: P{k}, C: {out}, E: GND}}}}",
        f"R{k}6: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [V5, {out}]}}",
    ]


def _gate(k: int, enable: str, out: str) -> list[str]:
    """An AND gate that waits for a diode wired-AND; 5 parts."""
    return [
        f"D{k}1: {{kind: diode, model: schottky-small, pins: {{A: W{k}, K: {enable}}}}}",
        f"D{k}2: {{kind: diode, model: schottky-small, pins: {{A: W{k}, K: OK{k}}}}}",
        f"R{k}1: {{kind: resistor, ohms: 22k, tolerance: 1%, pins: [V5, W{k}]}}",
        f"R{k}2: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [V5, OK{k}]}}",
        f"U{k}: {{kind: and, family: hc, pins: {{A: W{k}, B: OK{k}, Y: {out}, VCC: V5, GND: GND}}}}",
    ]


def _rail(k: int, enable: str, out: str) -> list[str]:
    """A rail with its power-good; 6 parts."""
    return [
        f"R{k}1: {{kind: resistor, ohms: 1k, tolerance: 1%, pins: [{enable}, E{k}]}}",
        (
            f"U{k}: {{kind: regulator, type: switching, volts: 3.3, amps: 1, enable_threshold: 1.2V, "
            f"power_good: [93%, 110%], pins: {{IN: V12, EN: E{k}, OUT: V{k}A, PG: {out}, GND: GND}}}}"
        ),
        f"C{k}1: {{kind: capacitor, farads: 22u, pins: [V{k}A, GND]}}",
        f"LD{k}: {{kind: load, ohms: 330, pins: [V{k}A, GND]}}",
        f"R{k}2: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [V5, {out}]}}",
        f"R{k}3: {{kind: resistor, ohms: 100k, tolerance: 1%, pins: [E{k}, GND]}}",
    ]


def _switch(k: int, enable: str, out: str) -> list[str]:
    """A P-channel high-side switch with its driver, and a divider behind it; 9 parts."""
    return [
        f"R{k}1: {{kind: resistor, ohms: 1k, tolerance: 5%, pins: [{enable}, G{k}]}}",
        f"R{k}2: {{kind: resistor, ohms: 100k, tolerance: 1%, pins: [G{k}, GND]}}",
        f"M{k}1: {{kind: nmos, model: nmos-logic, pins: {{G: G{k}, D: H{k}, S: GND}}}}",
        f"R{k}3: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [H{k}, T{k}]}}",
        f"R{k}4: {{kind: resistor, ohms: 47k, tolerance: 1%, pins: [V12, T{k}]}}",
        f"M{k}2: {{kind: pmos, model: pmos-power, pins: {{G: T{k}, D: V{k}S, S: V12}}}}",
        f"LD{k}: {{kind: load, ohms: 1k, pins: [V{k}S, GND]}}",
        f"R{k}5: {{kind: resistor, ohms: 14k, tolerance: 1%, pins: [V{k}S, {out}]}}",
        f"R{k}6: {{kind: resistor, ohms: 10k, tolerance: 1%, pins: [{out}, GND]}}",
    ]


KINDS: tuple[Callable[[int, str, str], list[str]], ...] = (_double_inversion, _gate, _switch, _rail)


def chain_text(stages: int) -> str:
    """Return the file of a board of so many stages, 7 parts and about 4.5 nets each."""
    parts = [line for k in range(stages) for line in KINDS[k % len(KINDS)](k, f"EN{k}", f"EN{k + 1}")]
    lines = [
        "format: 1",
        f"title: A chain of {stages} stages, invented for the tests",
        "supplies:",
        "  V12: {volts: 12, spread: 2%, ohms: 20m, amps: 20}",
        "  V5: {volts: 5, spread: 2%, ohms: 20m, amps: 20}",
        "  EN0: {volts: 5, spread: 3%, ohms: 1k, idle: low}",
        "power_states:",
        "  waiting: {on: [V12, V5]}",
        "  running: {on: [V12, V5, EN0]}",
        "parts:",
        *(f"  {line}" for line in parts),
        f"target: EN{stages}",
    ]
    return "\n".join(lines) + "\n"


def chain(stages: int) -> Circuit:
    """Return the circuit of `chain_text`."""
    return parse_circuit(chain_text(stages))
