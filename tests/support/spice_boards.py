"""Boards made in SPICE: other device laws than the model's, parts within their tolerances, read by a simulated meter.

Nothing of the switch level goes into a level: SPICE follows each power state in time from the one before, and finds the
point near which it comes to rest; each reading is a deck of its own with the meter on the board.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cached_property

import numpy as np
from measured_boards import LAW_GAIN, LAW_VOLTS, displayed, drawn_severity

from seqsim.circuit import Circuit, compile_network, state_gates
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.errors import SpiceFailedError
from seqsim.network import Bridge, Disable, Patch, Source, Turn, vary
from seqsim.parts.laws import THERMAL_VOLTS
from seqsim.parts.wiring import ModelWriter
from seqsim.readings import METER, Probe, Reading, measurement
from seqsim.readings.measurement import Measurement
from seqsim.spice.deck import NEWTON, Deck, write_deck
from seqsim.spice.engine import Engine
from seqsim.spice.models import full_model

THRESHOLD_VOLTS = 0.05
"""How far a make's gate thresholds (V) lie from the textbook's: standard deviation over boards."""
OVERSHOT = 2.0
"""Newton's method at times ends beside every level: a current beyond so many times its supply's limit is none."""
FAILS = 1 / 3
"""Share of the target's healthy swing by which it must be off to count as failing."""


def shifted_laws(random: np.random.Generator) -> ModelWriter:
    """Return a writer of full device models of one make: all junctions, gains and gate thresholds off together."""
    junction, gain = random.normal(0, LAW_VOLTS), random.normal(0, LAW_GAIN)
    threshold = random.normal(0, THRESHOLD_VOLTS)

    def write(name: str, kind: str, parameters: Mapping[str, float]) -> str:
        given = dict(parameters)
        if "IS" in given:
            given["IS"] *= math.exp(-junction / (THERMAL_VOLTS * given.get("N", 1.0)))
        if "BF" in given:
            given["BF"] *= math.exp(gain)
        if "KP" in given:
            given["KP"] *= math.exp(gain)
        if "VTO" in given:
            given["VTO"] += threshold
        return full_model(name, kind, given)

    return write


class Maker:
    """One circuit, and which of its knobs SPICE cards can turn."""

    def __init__(self, circuit: Circuit, engine: Engine) -> None:
        self.circuit, self.engine = circuit, engine
        self.network = compile_network(circuit)
        self.gates = {state: state_gates(circuit, state) for state in circuit.power_states}
        self.knobs = [key for key, knob in self.network.knobs.items() if knob.spread > 0 and self._turns(key)]

    def _turns(self, key: tuple[str, str]) -> bool:
        knob = self.network.knobs[key]
        with suppress(SpiceFailedError):
            write_deck(
                self.circuit, self.gates[next(iter(self.gates))], [Turn(*key, knob.neutral)], network=self.network
            )
            return True
        return False

    def drawn(self, random: np.random.Generator) -> list[Turn]:
        """Return what turns every knob within its tolerance."""
        patches: list[Turn] = []
        for key in self.knobs:
            knob = self.network.knobs[key]
            value = knob.spread * random.normal()
            patches.append(Turn(*key, float(np.exp(value)) if knob.neutral else float(value)))
        return patches

    @cached_property
    def healthy(self) -> SpiceBoard:
        """Return a healthy board at nominal values."""
        return SpiceBoard(self, (), full_model, np.random.default_rng(0))

    def board(self, fault: Iterable[Patch], random: np.random.Generator) -> SpiceBoard:
        """Return a board with a fault, and laws and parts of its own."""
        broken = tuple(fault)
        gone = {patch.owner for patch in broken if isinstance(patch, Disable)}
        parts = [patch for patch in self.drawn(random) if patch.owner not in gone]
        return SpiceBoard(self, [*parts, *broken], shifted_laws(random), random)

    def failing(
        self, faults: Sequence[Hypothesis], random: np.random.Generator
    ) -> tuple[Hypothesis, float, SpiceBoard]:
        """Return a fault that makes the target fail, drawn by its prior, its severity, and a board that has it."""
        prior = np.array([fault.prior for fault in faults])
        while True:
            fault = faults[int(random.choice(len(faults), p=prior / prior.sum()))]
            severity = drawn_severity(fault, random)
            with suppress(SpiceFailedError):
                board = self.board(fault.modes[0].patches(severity), random)
                if fails(self, board):
                    return fault, severity, board


class SpiceBoard:
    """One board on the bench, with one meter.

    Raises
    ------
    SpiceFailedError
        If a power state has no steady level, or SPICE cannot show the fault.
    """

    def __init__(self, maker: Maker, patches: Sequence[Patch], laws: ModelWriter, random: np.random.Generator) -> None:
        self.maker, self.patches, self.laws, self.random = maker, tuple(patches), laws, random
        self.levels: dict[str, dict[str, float]] = {}
        self.gains: dict[str, float] = {}
        before: Mapping[str, float] = {}
        for state in maker.circuit.power_states:
            before = self.levels[state] = dict(self._solved(state, (), before))

    def volts(self, net: str, state: str) -> float:
        """Return the volts of a net without any meter."""
        variant = vary(self.maker.network, self.patches)
        return self._at(self.levels[state], variant.node(net))

    def tip(self, each: Measurement) -> float:
        """Return the volts between the tips of a meter on the board."""
        patches = _with_meter(self.patches, each.patches)
        found = self._solved(each.state, each.patches, self.levels[each.state])
        variant = vary(self.maker.network, patches)
        return self._at(found, variant.node(each.plus)) - self._at(found, variant.node(each.minus))

    def read(self, probe: Probe) -> Reading:
        """Return what the meter shows."""
        each = measurement(self.maker.circuit, probe, METER)
        return displayed([probe], [each], np.array([self.tip(each)]), self.random, self.gains)[0]

    def reading(self, probe: Probe) -> Reading | None:
        """Return what the meter shows, or None where SPICE finds no level, or one that no supply can deliver."""
        try:
            shown = self.read(probe)
        except SpiceFailedError:
            return None
        if probe.kind == "current" and isinstance(shown.value, float):
            supply = self.maker.circuit.supplies[probe.place]
            return None if supply.amps is not None and abs(shown.value) > OVERSHOT * supply.amps else shown
        return shown

    def _solved(self, state: str, meter: Sequence[Patch], near: Mapping[str, float]) -> Mapping[str, float]:
        """Return the volts by SPICE node; with a meter on the board the point near those without it, if there is one.

        Steps of gmin and sources are left out: where Newton's method fails, they take long and fail too.
        """
        deck, run = self._deck(state, _with_meter(self.patches, meter)), self.maker.engine.run
        if meter:
            with suppress(SpiceFailedError):
                return run(deck.operating_point(_at_nodes(deck, near), NEWTON))
        ended = run(deck.followed(near))
        with suppress(SpiceFailedError):
            return run(deck.operating_point(_at_nodes(deck, ended), NEWTON))
        return ended

    def _deck(self, state: str, patches: Sequence[Patch]) -> Deck:
        maker = self.maker
        return write_deck(maker.circuit, maker.gates[state], patches, network=maker.network, write_model=self.laws)

    @staticmethod
    def _at(found: Mapping[str, float], node: int) -> float:
        return 0.0 if node < 0 else found.get(f"n{node + 1}", 0.0)


def _at_nodes(deck: Deck, volts: Mapping[str, float]) -> dict[str, float]:
    return {node: volts.get(node, 0.0) for node in deck.nodes.values()}


def _with_meter(board: Sequence[Patch], reading: Sequence[Patch]) -> tuple[Patch, ...]:
    """Return the patches of a reading: what is taken off the board first, what is put on it last, as the meter is."""
    on = [patch for patch in reading if isinstance(patch, Bridge | Source)]
    return (*(patch for patch in reading if not isinstance(patch, Bridge | Source)), *board, *on)


def fails(maker: Maker, board: SpiceBoard) -> bool:
    """Tell whether the target of a board is off in some power state."""
    target = maker.circuit.target
    assert target is not None
    healthy = np.array([maker.healthy.volts(target, state) for state in maker.circuit.power_states])
    own = np.array([board.volts(target, state) for state in maker.circuit.power_states])
    return bool((np.abs(own - healthy) > FAILS * np.ptp(healthy)).any())
