"""Each kind of part as a line of a circuit file, and what that line means."""

from __future__ import annotations

from typing import Any

_GATE2, _GATE1 = "pins: [NA, NB, NY, V5, GND]", "pins: [NA, NY, V5, GND]"
_GATE = {"family": "hc", "output": "open-drain", "schmitt": True}
_GATE_TEXT = "family: hc, output: open-drain, schmitt: true"

DESCRIBED: dict[str, tuple[str, dict[str, Any]]] = {
    "resistor": ("ohms: 4k7, tolerance: 1%, pins: [N1, N2]", {"ohms": 4700.0, "tolerance": 0.01}),
    "capacitor": (
        "farads: 4u7, type: tantalum, volts: 16V, pins: [N1, GND]",
        {"farads": 4.7e-6, "type": "tantalum", "volts": 16.0},
    ),
    "inductor": ("henries: 10u, ohms: 50m, amps: 2, pins: [N1, N2]", {"henries": 1e-5, "ohms": 0.05, "amps": 2.0}),
    "ferrite": ("ohms: 0.2R, pins: [N1, N2]", {"ohms": 0.2}),
    "diode": (
        "type: zener, volts: 5V1, dual: common-anode, pins: {A: N1, K1: N2, K2: N3}",
        {"type": "zener", "volts": 5.1, "dual": "common-anode"},
    ),
    "npn": ("gain: 250, amps: 0.1, pins: [NB, NC, GND]", {"gain": 250.0, "amps": 0.1}),
    "pnp": ("model: pnp-small, pins: {B: NB, C: NC, E: V5}", {"model": "pnp-small"}),
    "npn_prebiased": ("base_ohms: 4k7, base_emitter_ohms: 47k, pins: [NB, NC, GND]", {"base_ohms": 4700.0}),
    "pnp_prebiased": ("model: pnp-10k-10k, pins: [NB, NC, V5]", {"base_ohms": 1e4, "base_emitter_ohms": 1e4}),
    "nmos": ("threshold: 1.5V, on_ohms: 40m, gate_drive: 4.5V, pins: [NG, ND, GND]", {"threshold": 1.5}),
    "pmos": ("model: pmos-power, pins: {G: NG, D: ND, S: V5}", {"model": "pmos-power"}),
    "fuse": ("amps: 1.6, pins: [N1, N2]", {"amps": 1.6}),
    "jumper": ("closed: false, pins: [N1, N2]", {"closed": False}),
    "switch": ("ohms: 80m, pins: [N1, N2]", {"ohms": 0.08, "closed": False}),
    "button": ("pins: [N1, N2]", {"closed": False}),
    "connector": ("ohms: 30m, pins: {1: N1, 1w: N2, 2: GND}", {"ohms": 0.03}),
    "load": ("ohms: 1M, pins: {PIN: N1, RAIL: V5, GND: GND}", {"ohms": 1e6, "clamps": True}),
    "and": (f"{_GATE_TEXT}, {_GATE2}", _GATE),
    "or": (f"{_GATE_TEXT}, {_GATE2}", _GATE),
    "nand": (f"{_GATE_TEXT}, {_GATE2}", _GATE),
    "nor": (f"{_GATE_TEXT}, {_GATE2}", _GATE),
    "xor": (f"{_GATE_TEXT}, {_GATE2}", _GATE),
    "xnor": (f"{_GATE_TEXT}, {_GATE2}", _GATE),
    "not": (f"{_GATE_TEXT}, {_GATE1}", _GATE),
    "buffer": (f"{_GATE_TEXT}, {_GATE1}", _GATE),
    "comparator": (
        "offset: 2mV, hysteresis: 10mV, output: push-pull, pins: [NP, NM, NY, V5, GND]",
        {"offset": 2e-3, "hysteresis": 1e-2, "output": "push-pull"},
    ),
    "supervisor": (
        "threshold: 2.93V, delay: 200ms, active: high, pins: {OUT: NY, MR: NM, VCC: V5, GND: GND}",
        {"threshold": 2.93, "delay": 0.2, "active": "high"},
    ),
    "regulator": (
        "type: switching, volts: 3.3, power_good: [93%, 110%], pins: {IN: V5, OUT: NO, EN: NE, PG: NG, GND: GND}",
        {"type": "switching", "volts": 3.3, "power_good": (0.93, 1.1)},
    ),
    "load_switch": (
        "on_ohms: 20m, amps: 2, discharge: 150R, reverse_blocking: true, pins: [V5, NO, NE, GND]",
        {"on_ohms": 0.02, "amps": 2.0, "discharge": 150.0, "reverse_blocking": True},
    ),
    "optocoupler": ("transfer: 0.8, pins: [NA, GND, NC, GND]", {"transfer": 0.8}),
    "black_box": (
        "out: GO, high_when: 'A > 1.2V and not B > 0.4V', pins: {A: NA, B: NB, GO: NY, VCC: V5, GND: GND}",
        {"out": "GO", "fallback": "low"},
    ),
}
"""By kind: values and pins in YAML, and what is then read of the part in SI units."""


def board_of(kinds: dict[str, str]) -> str:
    """Return a circuit file with one part of each of these kinds: its values and pins by kind."""
    parts = "".join(f"  X{k}: {{kind: {kind}, {text}}}\n" for k, (kind, text) in enumerate(kinds.items(), start=1))
    return (
        "format: 1\ntitle: Parts, invented for the tests\n"
        "supplies: {V5: {volts: 5}, SIGNAL: {volts: 3.3, ohms: 1k, net: NA}}\n"
        f"power_states: {{on: {{on: [V5, SIGNAL]}}}}\nparts:\n{parts}"
    )
