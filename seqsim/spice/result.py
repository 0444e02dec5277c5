"""What `seqsim spice` returns."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from seqsim.circuit import Circuit, compile_network
from seqsim.circuit.names import suggest
from seqsim.errors import NoSteadyLevelError, UnknownPlaceError
from seqsim.faults import find_fault, middle
from seqsim.network import Patch
from seqsim.solver import Steadiness
from seqsim.spice.causes import Asked, causes
from seqsim.spice.compare import Comparison, SpiceState, compare, switch_levels
from seqsim.spice.deck import Deck
from seqsim.spice.models import full_model
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType

    from seqsim.spice.engine import Engine

TOLD_VOLTS = 0.05
"""Differences above this are given their cause."""


@dataclass(frozen=True, slots=True)
class Node:
    """A node in both worlds (V); ``spice`` is None where SPICE failed."""

    switch_level: float
    spice: float | None
    cause: str = ""

    @property
    def difference(self) -> float | None:
        """SPICE less switch level (V)."""
        return None if self.spice is None else self.spice - self.switch_level

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "switch_level": self.switch_level,
            "spice": self.spice,
            "difference": self.difference,
            "cause": self.cause,
        }


@dataclass(frozen=True)
class SpicePass(Result):
    """A board in SPICE beside the switch level; ``worst`` names the node that differs most.

    ``metastable_point`` holds the volts of the unstable point where SPICE parked, if it did; ``nodes`` then are those
    to which a small kick led it.
    """

    circuit: str
    state: str
    faults: tuple[str, ...]
    nodes: Mapping[str, Node]
    worst: str | None
    spice_state: str
    reason: str = ""
    switch_level_state: str = "steady"
    metastable_point: Mapping[str, float] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``spice``."""
        worst = None if self.worst is None else self.nodes[self.worst]
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "state": self.state,
            "faults": list(self.faults),
            "nodes": {name: node.to_dict() for name, node in self.nodes.items()},
            "worst": self.worst,
            "cause": worst.cause if worst is not None else "",
            "spice_state": self.spice_state,
            "reason": self.reason,
            "switch_level_state": self.switch_level_state,
            "metastable_point": dict(self.metastable_point),
        }

    def renderable(self) -> RenderableType:
        """Return the comparison for people."""
        from seqsim.wording.spice import spice_text

        return spice_text(self.to_dict())


def spice_deck(circuit: Circuit, state: str | None = None, faults: tuple[str, ...] = (), *, full: bool = False) -> Deck:
    """Return the deck of a board in a power state, the last one by default; no engine is needed.

    Its text tells the engine to start at the switch level's answer.
    """
    from seqsim.circuit import state_gates
    from seqsim.parts.wiring import model_line
    from seqsim.spice.deck import seeded, write_deck

    wanted = _state(circuit, state)
    patches = _patches(circuit, faults)
    network = compile_network(circuit)
    write_model = full_model if full else model_line
    deck = write_deck(circuit, state_gates(circuit, wanted), patches, network=network, write_model=write_model)
    return replace(deck, near=seeded(deck, switch_levels(circuit, network, wanted, patches).volts))


def spice_pass(
    name: str,
    circuit: Circuit,
    state: str | None = None,
    faults: tuple[str, ...] = (),
    *,
    full: bool = False,
    engine: Engine | None = None,
) -> SpicePass:
    """Return a board in SPICE beside the switch level.

    Raises
    ------
    SpiceMissingError
        If the engine or its Python package is missing.
    SpiceFailedError
        If SPICE cannot show the fault.
    NoSteadyLevelError
        If the switch level finds no steady level.
    UnknownPlaceError
        If there is no such state or fault.
    """
    from seqsim.parts.wiring import model_line

    wanted = _state(circuit, state)
    patches = _patches(circuit, faults)
    network = compile_network(circuit)
    if engine is None:
        from seqsim.spice.engine import engine as shared

        engine = shared()
    levels = switch_levels(circuit, network, wanted, patches)
    if levels.steadiness is Steadiness.FAILED:
        message = f"no steady level was found in state {wanted}; the values of a part may be extreme"
        raise NoSteadyLevelError(message, file=circuit.file, place=wanted)
    write_model = full_model if full else model_line
    both = compare(engine, circuit, network, levels, wanted, patches, write_model=write_model)
    asked = Asked(engine, circuit, network, wanted, patches, write_model)
    why = {} if both.state is SpiceState.FAILED else causes(asked, both, TOLD_VOLTS)
    return _told(name, wanted, faults, both, why)


def _told(name: str, state: str, faults: tuple[str, ...], both: Comparison, causes: Mapping[int, str]) -> SpicePass:
    number = {node: k for k, node in both.deck.nodes.items()}
    nodes: dict[str, Node] = {}
    for place, node in both.deck.places.items():
        k = number[node]
        volts = float(both.spice[k])
        nodes[place] = Node(float(both.levels.volts[k]), volts if math.isfinite(volts) else None, causes.get(k, ""))
    compared = {place: abs(node.difference) for place, node in nodes.items() if node.difference is not None}
    worst = max(compared, key=lambda place: compared[place], default=None)
    parked = {} if both.parked is None else {p: float(both.parked[number[n]]) for p, n in both.deck.places.items()}
    return SpicePass(
        name, state, faults, nodes, worst, both.state.value, both.reason, both.levels.steadiness.value, parked
    )


def _state(circuit: Circuit, state: str | None) -> str:
    states = list(circuit.power_states)
    wanted = states[-1] if state is None else state
    if wanted not in states:
        message = f"there is no power state called '{wanted}'{suggest(wanted, states)}"
        raise UnknownPlaceError(message, place=wanted, got=wanted)
    return wanted


def _patches(circuit: Circuit, faults: tuple[str, ...]) -> tuple[Patch, ...]:
    found: list[Patch] = []
    for text in faults:
        fault, severity = find_fault(circuit, text)
        found += fault.patches(middle(fault.severity) if severity is None else severity)
    return tuple(found)
