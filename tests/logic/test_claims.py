from __future__ import annotations

from collections.abc import Iterator

import explained
import numpy as np
import pytest

from seqsim.logic import Explanation, Situation
from seqsim.logic.back_feeding import back_feeding
from seqsim.logic.branches import Way, branches
from seqsim.logic.cause import Cause, What
from seqsim.logic.chain import Step
from seqsim.logic.criterion import ByRow, BySide, ByTransistor
from seqsim.logic.flips import Flip
from seqsim.logic.sides import pulls
from seqsim.network import Move, Patch, vary
from seqsim.solver import Levels, Steadiness, flatten, residual, solve_variant
from seqsim.solver.plain import carried
from seqsim.solver.state import State

LEAK = 1e-9
"""Siemens from each node to ground in the model."""
SOME = 7
"""Faults of each board that are explained here; the benchmark takes all of them."""


def solved_again(now: Situation, *added: Patch, without: tuple[Patch, ...] = ()) -> Levels | None:
    """Return the levels with patches added or left out, worked out without what the explanation used."""
    left = {id(patch) for patch in without}
    variant = vary(now.network, (*(patch for patch in now.patches if id(patch) not in left), *added))
    system = flatten(variant)
    old = now.levels.system.variant
    base = len(now.network.owners)
    conducting = now.levels.state.conducting[:base].copy()
    for port, hinge in enumerate(old.port_of):
        if hinge >= 0:
            conducting[hinge] = now.levels.state.conducting[base + port]
    start = carried(State(conducting, now.levels.state.above, now.levels.state.ratios), system)
    levels = solve_variant(variant, now.static, start)
    return levels if levels.steadiness is Steadiness.STEADY else None


def at(levels: Levels, label: str) -> float:
    """Volts at a label; that of a piece which is no longer cut off means its pin."""
    known = "/" not in label or label in levels.system.variant.stubs
    return levels.at(label if known else label.rpartition("/")[0])


def check(explanation: Explanation) -> None:
    """Hold every claim of an explanation to solutions of the board."""
    now = explanation.situation
    if now.oscillates:
        assert not any(step.causes for step in explanation.chain.steps)
        return
    assert np.abs(residual(now.levels)).max() < 1e-6
    for step in explanation.chain.steps:
        if now.node(step.label) in now.grounds:
            continue
        check_currents(now, step)
        check_sides(now, step)
        check_back_feeding(now, step)
        for cause in step.causes:
            check_numbers(now, cause)
        check_causes(now, step)
    for flip in explanation.flips:
        check_flip(now, explanation.chain.steps[0], flip)


def check_currents(now: Situation, step: Step) -> None:
    """The currents at a node add up to nothing, and those of resistors obey Ohm's law."""
    found = pulls(now, step.label)
    total = sum(pull.amps for pull in found)
    size = max((abs(pull.amps) for pull in found), default=0.0)
    assert total == pytest.approx(LEAK * step.volts, abs=1e-9 + 1e-6 * size)
    turned = {getattr(patch, "owner", "") for patch in now.patches}
    for branch in branches(now, step.label):
        part = now.circuit.parts.get(branch.owner)
        if part is None or part.kind != "resistor" or branch.owner in turned or branch.way is not Way.PASSES:
            continue
        ohms = float(getattr(part, "ohms", 0.0))
        drop = now.levels.at(branch.far or "GND") - step.volts
        assert branch.amps == pytest.approx(drop / ohms, rel=1e-6, abs=1e-11)


def check_sides(now: Situation, step: Step) -> None:
    """Each side is what the node shows with the pins of the other lifted, and both make the level as a divider."""
    up, down = step.sides.up, step.sides.down
    if up is None or down is None:
        return
    assert up.amps == pytest.approx(down.amps, rel=0.05, abs=1e-6)
    for side, other in ((up, down), (down, up)):
        if side.volts is None or side.ohms is None:
            continue
        faults = {pull.branch.fault for pull in other.pulls if pull.branch.way is Way.ADDED}
        without = tuple(p for p, f in zip(now.patches, now.origins, strict=True) if f and f in faults)
        pins = [pull.pin for pull in other.pulls if pull.branch.way is not Way.ADDED]
        levels = solved_again(now, *(Move((pin,), f"{pin}/off", joint=True) for pin in pins), without=without)
        assert levels is not None
        assert at(levels, step.label) == pytest.approx(side.volts, abs=1e-5)
        assert abs(side.volts - step.volts) == pytest.approx(side.ohms * side.amps, abs=1e-6)
    if up.volts is not None and up.ohms and down.volts is not None and down.ohms and up.volts > down.volts:
        level = (up.volts * down.ohms + down.volts * up.ohms) / (up.ohms + down.ohms)
        assert level == pytest.approx(step.volts, rel=0.05, abs=0.05)
        nearer_up = abs(up.volts - step.volts) < abs(down.volts - step.volts)
        assert step.sides.winner == ("up" if nearer_up else "down") or abs(up.ohms - down.ohms) < 0.1 * up.ohms


def check_back_feeding(now: Situation, step: Step) -> None:
    """What feeds a rail that is off gives the current that is told, and without it the rail stands where it is said."""
    found = back_feeding(now, step.label)
    if found is None:
        return
    into = sum(pull.amps for pull in pulls(now, step.label) if pull.amps > 0)
    assert 0 < sum(feeder.amps for feeder in found.feeders) <= into * (1 + 1e-6)
    for feeder in found.feeders:
        assert now.volts(feeder.label) > step.volts
    levels = solved_again(now, *found.undo)
    assert levels is not None
    assert at(levels, step.label) == pytest.approx(found.volts_otherwise, abs=1e-5)


def check_numbers(now: Situation, cause: Cause) -> None:
    """What is said of a device's control is so: on and off by what it could carry, inputs by their threshold."""
    owner, part = cause.branch.owner, now.circuit.parts.get(cause.branch.owner)
    if part is None or cause.behind or cause.what not in (What.ON, What.OFF, What.ROW):
        return
    if cause.what is What.ROW:
        number = next(k for k in now.network.rows_of[owner] if now.network.row_names[k] == cause.row)
        assert bool(now.levels.state.above[number]) == cause.above
        return
    if cause.branch.way is Way.BIPOLAR:
        sign = float(getattr(part, "sign", 1))
        junction = sign * (now.volts(part.pin("B")) - now.volts(part.pin("E")))
        if cause.what is What.OFF:
            assert junction < 0.68 or cause.branch.amps == pytest.approx(0, abs=1e-3)
        else:
            reverse = sign * (now.volts(part.pin("B")) - now.volts(part.pin("C")))
            assert max(junction, reverse) > 0.3
    if cause.branch.way is Way.FIELD and cause.what is What.ON:
        sign = float(getattr(part, "sign", 1))
        drive = max(sign * (now.volts(part.pin("G")) - now.volts(part.pin(end))) for end in "SD")
        shifted = any(getattr(patch, "owner", "") == owner for patch in now.patches)
        assert drive > float(getattr(part, "threshold", 0.0)) or shifted


def outcome(now: Situation, step: Step, levels: Levels) -> str:
    """Return the outcome of a step's criterion in other levels."""
    from dataclasses import replace

    return step.criterion.outcome(replace(now, levels=levels))


def check_causes(now: Situation, step: Step) -> None:
    """Each cause, undone by itself, changes what it explains; those that count together do so together."""
    assert step.criterion.outcome(now) == step.outcome
    together = [cause for cause in step.causes if cause.jointly]
    groups = [[cause] for cause in step.causes if not cause.jointly] + ([together] if together else [])
    for group in groups:
        undo = tuple(patch for cause in group for patch in cause.undo)
        drop = tuple(patch for cause in group for patch in cause.drop)
        levels = solved_again(now, *undo, without=drop)
        assert levels is not None
        assert outcome(now, step, levels) != step.outcome
        for cause in group:
            assert at(levels, step.label) == pytest.approx(cause.volts_then, abs=1e-5)


def check_flip(now: Situation, target: Step, flip: Flip) -> None:
    """Each stated change flips the node."""
    undo = tuple(patch for change in flip.changes for patch in change.undo)
    drop = tuple(patch for change in flip.changes for patch in change.drop)
    levels = solved_again(now, *undo, without=drop)
    assert levels is not None
    assert outcome(now, target, levels) == flip.outcome != target.outcome
    assert at(levels, target.label) == pytest.approx(flip.volts, abs=1e-5)


@pytest.mark.parametrize("name", explained.NAMES)
def test_every_claim_about_a_healthy_board_is_so(name: str) -> None:
    """In every power state: currents, sides, thresholds, causes and flips are those of the solution."""
    for explanation in explained.healthy(name):
        check(explanation)


@pytest.mark.parametrize("name", explained.NAMES)
def test_every_claim_about_a_broken_board_is_so(name: str) -> None:
    """With some of the single faults of each board."""
    count = 0
    for explanation in explained.broken(name, SOME):
        check(explanation)
        count += 1
    assert count >= min(5, explained.LARGE_SOME)


@pytest.mark.benchmark
@pytest.mark.parametrize("name", explained.NAMES)
def test_every_claim_about_every_broken_board_is_so(name: str) -> None:
    """With every single fault; a chain without any reason at its first node is rare, and so is one without a flip."""
    silent, unmoved, count = 0, 0, 0
    for explanation in explained.broken(name):
        check(explanation)
        count += 1
        first = explanation.chain.steps[0]
        silent += not first.causes and not explanation.situation.oscillates
        unmoved += not explanation.flips and not explanation.situation.oscillates
    print(f"{name}: {count} faults, {silent} without a cause at the target, {unmoved} without a flip")
    assert silent <= 0.02 * count
    assert unmoved <= 0.05 * count


def criteria(explanation: Explanation) -> Iterator[BySide | ByTransistor | ByRow]:
    for step in explanation.chain.steps:
        yield step.criterion


@pytest.mark.parametrize("name", explained.NAMES)
def test_a_chain_starts_at_the_target_and_never_returns(name: str) -> None:
    """No node is explained twice, so that a chain ends on a board with feedback, too."""
    for explanation in explained.healthy(name):
        labels = [step.label for step in explanation.chain.steps]
        assert len(labels) == len(set(labels))
        assert explanation.chain.steps[0].depth == 0
        assert isinstance(next(criteria(explanation)), BySide)
