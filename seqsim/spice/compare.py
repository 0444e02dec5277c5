"""One board in SPICE and at the switch level, node by node."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum

import numpy as np

from seqsim.circuit import Circuit, state_gates
from seqsim.errors import SpiceFailedError
from seqsim.network import Network, Patch, vary
from seqsim.network.network import Floats
from seqsim.parts.wiring import ModelWriter, model_line
from seqsim.solver import Levels, solve_variant, static_gates
from seqsim.solver.sensitivity import node_impedance
from seqsim.spice.deck import NEWTON, Deck, seeded, write_deck
from seqsim.spice.engine import Engine

RETURNS_VOLTS = 0.05
"""A point is stable when all nodes come back this close after a kick of 10 mV."""

FAR_VOLTS = 1e5
"""No board gets there: a kick that ends beyond lost itself in the engine's numbers."""


class Basin(Enum):
    """Where SPICE starts to look."""

    COLD = "cold"
    """at 0 V everywhere"""
    SEEDED = "seeded"
    """at the switch level's answer"""


class SpiceState(Enum):
    """What SPICE found."""

    STABLE = "stable"
    METASTABLE = "metastable"
    """an unstable point, which a small kick leaves"""
    FAILED = "failed"


@dataclass(frozen=True)
class Comparison:
    """The two solutions of a board in one power state.

    ``spice`` (n,) are SPICE's volts at the nodes of the switch level, NaN at inner points of parts; of a metastable
    point they are those to which the kick led, and ``parked`` (n,) the point itself.
    """

    deck: Deck
    levels: Levels
    spice: Floats
    state: SpiceState
    reason: str = ""
    parked: Floats | None = None

    @property
    def difference(self) -> Floats:
        """SPICE's volts less those of the switch level (n,), NaN at inner points."""
        return np.asarray(self.spice - self.levels.volts[:-1])


def every_state(
    circuit: Circuit, network: Network, patches: tuple[Patch, ...], *, cold: bool = False
) -> Iterator[tuple[str, Levels]]:
    """Yield the switch level's answer in each power state: from the one before, or ``cold`` from all off."""
    variant = vary(network, patches)
    levels: Levels | None = None
    for name in circuit.power_states:
        static = static_gates(network, state_gates(circuit, name))
        levels = solve_variant(variant, static, None if cold or levels is None else levels.state)
        yield name, levels


def switch_levels(circuit: Circuit, network: Network, state: str, patches: tuple[Patch, ...]) -> Levels:
    """Return the switch level's answer in one power state, through those before it."""
    for name, levels in every_state(circuit, network, patches):
        if name == state:
            return levels
    raise SpiceFailedError(f"the circuit has no power state called '{state}'", got=state)


def compare(
    engine: Engine,
    circuit: Circuit,
    network: Network,
    levels: Levels,
    state: str,
    patches: Iterable[Patch] = (),
    *,
    basin: Basin = Basin.SEEDED,
    write_model: ModelWriter = model_line,
    kick_above: float = 0.0,
) -> Comparison:
    """Return the comparison of one power state.

    A point that SPICE finds is kicked if any node differs by more than ``kick_above`` (V) from the switch level.
    """
    deck = write_deck(circuit, state_gates(circuit, state), patches, network=network, write_model=write_model)
    guess = seeded(deck, levels.volts)
    ohms = _ohms(deck, levels)
    try:
        found = _point(engine, deck, guess, basin)
    except SpiceFailedError as error:
        return _from_time(
            engine, deck, levels, error, deck.from_rest() if basin is Basin.COLD else deck.kick(guess, ohms)
        )
    volts = _volts(deck, levels, found)
    if np.nanmax(np.abs(volts - levels.volts[:-1]), initial=0.0) <= kick_above:
        return Comparison(deck, levels, volts, SpiceState.STABLE)
    try:
        kicked = engine.run(deck.kick({node: found.get(node, 0.0) for node in guess}, ohms))
    except SpiceFailedError as error:
        return Comparison(deck, levels, volts, SpiceState.STABLE, f"its stability was not tested: {error.message}")
    ended = _volts(deck, levels, kicked)
    if np.nanmax(np.abs(ended), initial=0.0) > FAR_VOLTS:
        return Comparison(deck, levels, volts, SpiceState.STABLE, "its stability was not tested: the kick ran away")
    if np.nanmax(np.abs(ended - volts), initial=0.0) < RETURNS_VOLTS:
        return Comparison(deck, levels, volts, SpiceState.STABLE)
    with suppress(SpiceFailedError):
        # where the kick leads, found to the end
        settled = _volts(deck, levels, _near(engine, deck, kicked))
        if np.nanmax(np.abs(settled - volts), initial=0.0) > RETURNS_VOLTS:
            ended = settled
    return Comparison(deck, levels, ended, SpiceState.METASTABLE, "a kick of 10 mV leads away from it", volts)


def _point(engine: Engine, deck: Deck, guess: Mapping[str, float], basin: Basin) -> Mapping[str, float]:
    """Return a steady point near the guess, or the one to which the board comes from 0 V everywhere."""
    if basin is Basin.SEEDED:
        return engine.run(deck.operating_point(guess, NEWTON))
    return _near(engine, deck, engine.run(deck.from_rest()))


def _near(engine: Engine, deck: Deck, volts: Mapping[str, float]) -> Mapping[str, float]:
    """Return the steady point near the volts at which a transient ended."""
    return engine.run(deck.operating_point({node: volts.get(node, 0.0) for node in deck.nodes.values()}, NEWTON))


def _from_time(engine: Engine, deck: Deck, levels: Levels, error: SpiceFailedError, start: str) -> Comparison:
    """Take where the board comes to rest in time, from ``start``, where SPICE finds no steady point directly."""
    try:
        ended = engine.run(start)
        again = engine.run(deck.kick(ended, _ohms(deck, levels)))
    except SpiceFailedError as failed:
        nothing = np.full(len(levels.volts) - 1, np.nan)
        return Comparison(deck, levels, nothing, SpiceState.FAILED, failed.message)
    first, second = _volts(deck, levels, ended), _volts(deck, levels, again)
    if np.nanmax(np.abs(first - second), initial=0.0) < RETURNS_VOLTS:
        return Comparison(deck, levels, second, SpiceState.STABLE)
    nothing = np.full(len(levels.volts) - 1, np.nan)
    return Comparison(deck, levels, nothing, SpiceState.FAILED, f"{error.message}; in time it does not settle either")


def _volts(deck: Deck, levels: Levels, found: Mapping[str, float]) -> Floats:
    volts = np.full(len(levels.volts) - 1, np.nan)
    for k, node in deck.nodes.items():
        volts[k] = found.get(node, 0.0)
    return volts


def _ohms(deck: Deck, levels: Levels) -> dict[str, float]:
    """Return the resistance (Ω) behind each node."""
    diagonal = np.abs(np.diag(node_impedance(levels)))
    return {node: float(np.clip(diagonal[k], 1e-3, 1e9)) for k, node in deck.nodes.items()}
