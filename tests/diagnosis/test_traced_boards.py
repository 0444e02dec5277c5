"""Boards of the library retyped as notes, in the order in which one traces from the target back."""

from __future__ import annotations

import math

import pytest
from traced_boards import FROST, LAMPS, TIDE, TRACED, Traced

import seqsim
from seqsim.board import Board
from seqsim.circuit.notes_compile import parse_notes
from seqsim.diagnosis import Ranking
from seqsim.diagnosis.alternatives import doubts_of
from seqsim.diagnosis.unsure import UnsureRanking, believe
from seqsim.readings import Readings

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


@pytest.mark.parametrize(("traced", "step", "end"), [(LAMPS, 2, "M1_GATE"), (FROST, 4, "PG_5V")])
def test_a_net_that_one_rail_holds_is_traced_next(traced: Traced, step: int, end: str) -> None:
    """Where only a pull-up is known of a net, what else lies on it is the question; a line says that nothing does."""
    circuit = traced.circuit(step)
    _, steps, _ = believe(circuit, traced.readings(circuit))
    assert (steps[0].name, steps[0].place) == (end, end)
    assert f"note: {end} done" in steps[0].action


def test_more_drawings_than_are_weighed_make_nothing_surer() -> None:
    """What readings do not touch keeps its prior, be it joined to the target or not."""
    circuit = parse_notes(TIDE.text(3) + "Q8 ? 1=A1 2=A2 3=A3\n")
    told, _, weighed = believe(circuit, Readings())
    assert math.prod(len(each.answers) for each in doubts_of(circuit)) > 10 * weighed
    for each in told:
        priors = {answer.label: answer.prior for answer in each.doubt.answers}
        assert dict(each.answers) == pytest.approx(priors, abs=0.02)
    told, _, _ = believe(circuit, TIDE.readings(circuit))
    for each in told:
        if each.doubt.name in ("Q8", "A1", "A2", "A3"):
            assert dict(each.answers) == {answer.label: answer.prior for answer in each.doubt.answers}


LATE = """\
target EN
V5 5
RUN 3.3 1k idle low
state wait: V5
state run: V5 RUN after 10ms
R9 10k 1=V5 2=EN
C1 1u 1=EN 2=gnd
M7 ? G=GATE D=EN S=gnd
R12 10k 1=RUN 2=GATE
"""


def test_what_was_seen_over_time_weighs_drawings_and_faults() -> None:
    """An enable that rises and then falls is switched off by an N-MOSFET; one that never rises is not."""
    board = Board("late", parse_notes(LATE + "read EN rises then falls\n"))
    found = board.rank()
    assert isinstance(found, UnsureRanking)
    (unknown,) = found.unknowns
    assert unknown.answers[0][0].startswith("nmos")
    assert found.readings[-1].verdict == "as_healthy"
    assert sum(each.probability for each in found.hypotheses) + found.none_of_these == pytest.approx(1, abs=1e-6)
    pmos = Board("late", parse_notes(LATE + "read EN 5.0 @run\nread EN stays high\n")).rank()
    assert isinstance(pmos, UnsureRanking)
    assert dict(pmos.unknowns[0].answers)["nmos"] < dict(unknown.answers)["nmos"]


def test_next_and_verify_say_what_they_take() -> None:
    """They ask one drawing, the likeliest by the readings; its pins are called as in the notes."""
    board = Board("stage", parse_notes("target EN\nV5 5\nR9 4k7 1=V5 2=EN\nQ7 npn? B=G7 E=gnd C=EN\nG7 3.3\n"))
    advice = board.next(["EN 0.002", "Q7.B 3.3"], most=2)
    (taken,) = advice.to_dict()["taken"]
    assert (taken["name"], taken["about"]) == ("Q7", "kind")
    assert "the likeliest drawing alone: Q7 as an NPN" in str(advice)
    proof = board.verify(["EN 0.02"])
    assert [each["name"] for each in proof.to_dict()["taken"]] == ["Q7"]
    assert "the likeliest drawing alone" in str(proof)


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
