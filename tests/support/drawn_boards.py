"""Scenes of boards, as `seqsim draw` makes them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.drawing import draw_chain
from seqsim.drawing.scene import Scene
from seqsim.readings import parse_reading

BOARDS = tuple(library())


def library_scene(name: str, *, chain: bool = False) -> Scene:
    """Return the diagram of a healthy board of the library, all of it, or its target's chain; each is drawn once."""
    return _scene(name, chain)


@cache
def _scene(name: str, chain: bool) -> Scene:  # noqa: FBT001 - one key for the cache, however it is called
    circuit = library_circuit(name)
    return scene_of(name, circuit, node=circuit.target) if chain else scene_of(name, circuit, whole=True)


@cache
def library_circuit(name: str) -> Circuit:
    """Return a circuit of the library."""
    return read_circuit(library()[name])


def scene_of(
    name: str,
    circuit: Circuit,
    *,
    node: str | None = None,
    whole: bool = False,
    state: str | None = None,
    faults: Sequence[str] = (),
    readings: Sequence[str] = (),
) -> Scene:
    """Return the chain diagram of a board."""
    taken = [parse_reading(circuit, text) for text in readings]
    return draw_chain(name, circuit, state=state, faults=faults, readings=taken, node=node, whole=whole).scene


def long_chain(stages: int) -> str:
    """Return a board of inverters in a row, three parts a stage, with two parts that the target does not need."""
    lines = [
        "format: 1", "title: Inverters in a row, invented for the tests",
        "supplies: {V5: {volts: 5}, IN: {volts: 3.3, ohms: 1k, idle: low}}",
        "power_states: {on: {on: [V5, IN]}}",
        "parts:",
        "  RX: {kind: resistor, ohms: 1k, pins: [V5, ASIDE]}",
        "  CX: {kind: capacitor, farads: 1u, pins: [ASIDE, GND]}",
    ]  # fmt: skip
    for k in range(stages):
        before = "IN" if k == 0 else f"N{k}"
        lines += [
            f"  RB{k}: {{kind: resistor, ohms: 22k, pins: [{before}, B{k}]}}",
            f"  RC{k}: {{kind: resistor, ohms: 10k, pins: [V5, N{k + 1}]}}",
            f"  Q{k}: {{kind: npn, pins: {{B: B{k}, C: N{k + 1}, E: GND}}}}",
        ]
    return "\n".join([*lines, f"target: N{stages}", ""])
