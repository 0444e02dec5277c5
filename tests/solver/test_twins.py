"""The compiled kernel against the plain solver, and its readings against boards solved with the meter in place."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from random_board import NETS, Board, boards, patches

from seqsim.network import Bridge, Effect, Network, Source, Turn, Variant, vary
from seqsim.network.network import Bools
from seqsim.solver import Levels, Steadiness, solve_variant, thevenin_ohms
from seqsim.solver.batch import Bench, Probes, Solved, bench, latents_of
from seqsim.solver.plain import carried
from seqsim.solver.state import State
from seqsim.solver.system import flatten

AGREE = 10e-6
"""Volts within which the two solvers give the same level."""
STEADINESS = list(Steadiness)
STEP = 1e-4
"""Share of a standard deviation for finite differences: small enough that no hinge changes its mode."""


class Pair:
    """A board in both solvers."""

    def __init__(self, board: Board) -> None:
        self.network: Network = board.network()
        self.static: Bools = board.static(self.network)
        self.levels: Levels = solve_variant(vary(self.network), self.static)
        assume(self.levels.steadiness is Steadiness.STEADY)
        self.bench: Bench = bench(self.network, self.static, self.levels)

    def plain(self, variant: Variant, severity: int = 0) -> Levels:
        """Levels of a variant, started from the healthy board as the kernel does."""
        return solve_variant(variant, self.static, carried(self.levels.state, flatten(variant)), severity)

    def probes(
        self, variant: Variant, nets: Sequence[str], siemens: float, volts: float = 0.0, most: float = np.inf
    ) -> Probes:
        """Readings from nets to ground, one meter for all."""
        count = len(nets)
        plus = np.array([[variant.node(net) for net in nets]], dtype=np.int64)
        return Probes(plus, np.full_like(plus, -1), *(np.full(count, value) for value in (siemens, volts, most)))


def same(solved: Solved, item: int, levels: Levels) -> None:
    """One item of a batch has the levels of the plain solver."""
    assert STEADINESS[solved.steadiness[item]] is levels.steadiness
    nodes = levels.system.nodes
    assert np.abs(solved.volts[item, :nodes] - levels.volts[:nodes]).max() < AGREE


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_patched_boards(data: st.DataObject) -> None:
    """Bridges, moved pins and turned knobs, all in one batch: volts within 10 µV, the same steadiness."""
    board = data.draw(boards())
    pair = Pair(board)
    variants = [vary(pair.network, data.draw(patches(board))) for _ in range(3)]
    solved = pair.bench.run(variants)
    for item, variant in enumerate(variants):
        same(solved, item, pair.plain(variant))


@settings(max_examples=30, deadline=None)
@given(boards(), st.sampled_from(NETS), st.sampled_from(NETS))
def test_severities(board: Board, first: str, second: str) -> None:
    """An array of severities is as many boards; one of them can be asked for alone."""
    pair = Pair(board)
    siemens = np.array([1.0, 1e-3, 1e-6])
    variant = vary(pair.network, (Bridge(first, second, siemens),))
    every = pair.bench.run([variant])
    for severity in range(variant.severities):
        same(every, severity, pair.plain(variant, severity))
    one = pair.bench.run([variant], severity=[variant.severities - 1])
    assert one.volts[0] == pytest.approx(every.volts[-1], abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(boards(), st.data())
def test_given_starts(board: Board, data: st.DataObject) -> None:
    """A start that is no reference: both solvers go on from it alike."""
    pair = Pair(board)
    variant = vary(pair.network, data.draw(patches(board)))
    start = pair.plain(variant).state
    again = vary(pair.network, ())
    solved = pair.bench.run([variant, again], [start, pair.levels.state])
    same(solved, 0, solve_variant(variant, pair.static, start))
    same(solved, 1, pair.levels)
    assert np.array_equal(pair.bench.state_of(solved, 1, again).conducting, pair.levels.state.conducting)


@settings(max_examples=40, deadline=None)
@given(boards(), st.data())
def test_probed_ohms_are_thevenins(board: Board, data: st.DataObject) -> None:
    """The resistance that a reading sees, on patched boards too, is that of the plain solver within a millionth."""
    pair = Pair(board)
    variant = vary(pair.network, data.draw(patches(board)))
    levels = pair.plain(variant)
    assume(levels.steadiness is Steadiness.STEADY)
    nets = [net for net in NETS if net != "GND"]
    solved = pair.bench.run([variant], probes=pair.probes(variant, nets, 0.0))
    for ohms, volts, net in zip(solved.ohms[0], solved.read[0], nets, strict=True):
        assert ohms == pytest.approx(thevenin_ohms(levels, net), rel=1e-6, abs=1e-6)
        assert volts == pytest.approx(levels.at(net), abs=AGREE)


@settings(max_examples=40, deadline=None)
@given(boards(), st.data())
def test_a_meter_loads_the_board(board: Board, data: st.DataObject) -> None:
    """A voltmeter of 10 MΩ, or a poor one of 20 kΩ, is a conductance on the board."""
    pair = Pair(board)
    patched = data.draw(patches(board))
    variant = vary(pair.network, patched)
    before = pair.plain(variant)
    assume(before.steadiness is Steadiness.STEADY)
    siemens = data.draw(st.sampled_from([1e-7, 5e-5]))
    nets = [net for net in NETS if net != "GND"]
    twice = [*nets, *nets]  # the second reading of a place is a copy of the first
    solved = pair.bench.run([variant], probes=pair.probes(variant, twice, siemens))
    for volts, net in zip(solved.read[0], twice, strict=True):
        metered = vary(pair.network, (*patched, Bridge(net, "GND", siemens)))
        after = solve_variant(metered, pair.static, beside(before, metered))
        assert volts == pytest.approx(after.at(net), abs=AGREE), net


@settings(max_examples=40, deadline=None)
@given(boards(), st.data())
def test_a_meter_with_a_source_of_its_own(board: Board, data: st.DataObject) -> None:
    """Ohms and diode ranges: a source with a limit, in `Probes` and as a patch, reads the same volts."""
    pair = Pair(board)
    patched = data.draw(patches(board))
    variant = vary(pair.network, patched)
    before = pair.plain(variant)
    assume(before.steadiness is Steadiness.STEADY)
    volts, ohms, amps = data.draw(st.sampled_from([(2.5, 1e3, 1e-3), (0.4, 1e4, np.inf), (3.0, 1e2, 1e-5)]))
    nets = [net for net in NETS if net != "GND"]
    most = amps * ohms - volts if np.isfinite(amps) else np.inf
    solved = pair.bench.run([variant], probes=pair.probes(variant, nets, 1 / ohms, volts, most))
    for read, net in zip(solved.read[0], nets, strict=True):
        sourced = vary(pair.network, (*patched, Source(net, "GND", volts, ohms, amps if np.isfinite(amps) else None)))
        after = solve_variant(sourced, pair.static, beside(before, sourced))
        assert read == pytest.approx(after.at(net), abs=AGREE), net


def beside(levels: Levels, metered: Variant) -> State:
    """A state as a start for the same board with more ports behind the ones it has."""
    conducting = np.zeros(len(levels.system.variant.network.owners) + len(metered.ports.gate), dtype=np.bool_)
    conducting[: len(levels.state.conducting)] = levels.state.conducting
    return State(conducting, levels.state.above, levels.state.ratios)


@settings(max_examples=30, deadline=None)
@given(boards(), st.data())
def test_moves_are_finite_differences(board: Board, data: st.DataObject) -> None:
    """What a reading moves for a little of each knob is what a turned knob moves, patched hinges included."""
    pair = Pair(board)
    patched = data.draw(patches(board))
    variant = vary(pair.network, patched)
    before = pair.plain(variant)
    assume(before.steadiness is Steadiness.STEADY)
    keys = [
        key
        for key, knob in pair.network.knobs.items()
        if knob.spread and any(turned.effect is not Effect.ROW for turned in knob.turned)
    ]
    nets = [net for net in NETS if net != "GND"]
    siemens = 1e-7
    solved = pair.bench.run(
        [variant], probes=pair.probes(variant, nets, siemens), latents=latents_of(pair.network, keys)
    )
    turned = {patch.owner for patch in patched if isinstance(patch, Turn)}
    key = data.draw(st.sampled_from(keys))
    assume(key[0] not in turned)
    knob = pair.network.knobs[key]
    readings = []
    for sign in (1, -1):
        value = float(np.exp(sign * STEP * knob.spread)) if knob.neutral == 1 else sign * STEP * knob.spread
        again = vary(pair.network, (*patched, Turn(*key, value)))
        moved = pair.bench.run([again], probes=pair.probes(again, nets, siemens))
        readings.append((moved.read[0], moved.conducting[0, : len(pair.network.owners)]))
    seen = (readings[0][0] - readings[1][0]) / (2 * STEP)
    expected = solved.moves[0, :, keys.index(key)]
    assert np.abs(seen - expected).max() <= 0.01 * np.abs(expected).max() + 1e-3
