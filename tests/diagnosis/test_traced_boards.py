"""Boards of the library retyped as notes, in the order in which one traces from the target back."""

from __future__ import annotations

import pytest
from traced_boards import TRACED, Traced

import seqsim
from seqsim.diagnosis import Ranking
from seqsim.diagnosis.unsure import UnsureRanking

NEAR = 0.05
"""How far chances may lie apart: readings in notes and values retyped are those of the file."""

boards = pytest.mark.parametrize("traced", TRACED, ids=lambda traced: traced.name)


def chances(found: Ranking) -> dict[tuple[str, ...], float]:
    """Return the chance of every hypothesis, by its faults."""
    return {each.faults: each.probability for each in found.hypotheses}


@boards
def test_the_last_step_ranks_as_the_circuit_file(traced: Traced) -> None:
    """With all traced, notes and circuit file rank alike; the fault that the board has is among the first."""
    board, file = traced.board(len(traced.steps)), seqsim.load(traced.name)
    noted, filed = board.rank(traced.readings(board.circuit)), file.rank(traced.readings(file.circuit))
    assert noted.where[0].place == filed.where[0].place
    assert noted.where[0].probability == pytest.approx(filed.where[0].probability, abs=NEAR)
    expected, found = chances(filed), chances(noted)
    for faults, chance in expected.items():
        if chance > NEAR:
            assert found[faults] == pytest.approx(chance, abs=NEAR)
    place = traced.fault.partition(":")[0]
    assert any(place in each.places and each.probability > 0.2 for each in noted.where)


@boards
def test_the_first_step_says_what_it_assumed(traced: Traced) -> None:
    """After a few lines there is a ranking, and for all that is unknown the chances of its answers, which add up."""
    board = traced.board(1)
    found = board.rank(traced.readings(board.circuit))
    assert found.where
    assert isinstance(found, UnsureRanking)
    assert found.unknowns
    for unknown in found.unknowns:
        assert sum(chance for _, chance in unknown.answers) == pytest.approx(1, abs=1e-6)


@pytest.mark.benchmark
@boards
def test_every_step(traced: Traced) -> None:
    """Prints where the fault is after each step, what is unknown, and what to trace next."""
    for step in range(1, len(traced.steps) + 1):
        board = traced.board(step)
        found = board.rank(traced.readings(board.circuit))
        where = ", ".join(f"{each.place} {each.probability:.2f}" for each in found.where[:3])
        print(f"\n{traced.name} ({traced.fault}), step {step}, {len(board.circuit.parts)} parts: {where}")
        for unknown in getattr(found, "unknowns", ()):
            answers = ", ".join(f"{answer} {chance:.2f}" for answer, chance in unknown.answers[:3])
            print(f"   {unknown.doubt.name}: {answers}")
        for advice in getattr(found, "trace", ())[:2]:
            print(
                f"   {advice.action} ({advice.level_bits:.2f} bit of the level, {advice.place_bits:.2f} of the place)"
            )
