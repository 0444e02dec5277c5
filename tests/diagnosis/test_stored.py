"""Predictions that are kept, in memory and on disk: a ranking from them is the ranking without them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import seqsim
from seqsim.board import Board
from seqsim.diagnosis import Ranking
from seqsim.diagnosis.conditions import Condition
from seqsim.diagnosis.survey import Survey
from seqsim.diagnosis.table import Table

READ = ("OUT 4.98", "BASE 0.00", "LAMP 0.00")
BOARD = """\
format: 1
title: A signal lamp that stays dark, invented for this test
supplies:
  V5: {volts: 5, ohms: 50m, amps: 1}
  LIT: {volts: 3.3, ohms: 1k}
power_states:
  dark: {on: [V5]}
  lit: {on: [V5, LIT]}
parts:
  R1: {kind: resistor, ohms: 10k, pins: [LIT, BASE]}
  R2: {kind: resistor, ohms: 100k, pins: [BASE, GND]}
  Q1: {kind: npn, pins: {B: BASE, C: OUT, E: GND}}
  R3: {kind: resistor, ohms: 4k7, pins: [V5, OUT]}
  U1: {kind: not, family: hc, pins: {A: OUT, Y: LAMP, VCC: V5, GND: GND}}
  R4: {kind: resistor, ohms: 10k, pins: [LAMP, GND]}
target: LAMP
"""


@pytest.fixture
def board(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A circuit file, with an empty folder for what is kept."""
    kept = tmp_path / "kept"
    monkeypatch.setattr("seqsim.diagnosis.stored.user_cache_path", lambda _: kept)
    path = tmp_path / "lamp.yaml"
    path.write_text(BOARD, encoding="utf-8")
    return path


def shares(ranking: Ranking) -> dict[tuple[str, ...], float]:
    """Probability of each hypothesis by its faults and place."""
    return {(*each.faults, each.place): each.probability for each in ranking.hypotheses}


def same(first: Ranking, second: Ranking) -> bool:
    """Whether two rankings agree, but for rounding."""
    one, two = shares(first), shares(second)
    return one.keys() == two.keys() and np.allclose(list(one.values()), [two[name] for name in one], atol=1e-9)


def load(path: Path) -> Board:
    return seqsim.load(path)


def test_a_ranking_is_read_back(board: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same readings of the same circuit find their branches and predictions on disk, and rank as they did."""
    before = load(board).rank(READ)
    monkeypatch.setattr("seqsim.diagnosis.table.branches_of", None)
    assert same(before, load(board).rank(READ))


def test_severities_taken_closer_are_read_back(board: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What lies between severities is solved once, too: a second process finds it on disk."""
    before, job = load(board).rank(READ), load(board)
    solved: list[Survey] = []
    work_out = Survey._work_out

    def noted(survey: Survey, condition: Condition) -> None:
        solved.append(survey)
        work_out(survey, condition)

    monkeypatch.setattr(Survey, "_work_out", noted)
    assert same(before, job.rank(READ))
    (surveyed,) = job._desk.surveyed.values()
    assert surveyed.between
    assert not any(survey in solved for survey in (surveyed.coarse, *surveyed.fine, *surveyed.between))


def test_moves_are_read_back(board: Path) -> None:
    """How readings move with what spreads is worked out once, also where the readings put a board."""
    first, second = load(board), load(board)
    assert same(first.rank(READ), second.rank(READ))
    ((before,), (after,)) = (job._desk.surveyed.values() for job in (first, second))
    assert before.lines.worked_out
    assert not after.lines.worked_out


def test_looks_are_read_back(board: Path) -> None:
    """What the likeliest faults look like elsewhere is worked out once, and tells the same ones apart."""
    first, second = load(board), load(board)
    one, two = first.rank(READ), second.rank(READ)
    assert [(each.faults, each.group) for each in one.hypotheses] == [(h.faults, h.group) for h in two.hypotheses]
    ((before,), (after,)) = (job._desk.surveyed.values() for job in (first, second))
    assert before.looks().worked_out
    assert not after.looks().worked_out


def test_other_values_of_the_same_readings_are_other_rankings(board: Path) -> None:
    """What is kept does not depend on what the meter shows."""
    fresh = load(board).rank(("OUT 0.04", "BASE 0.65", "LAMP 4.98"))
    load(board).rank(READ)
    assert same(fresh, load(board).rank(("OUT 0.04", "BASE 0.65", "LAMP 4.98")))
    assert not same(fresh, load(board).rank(READ))


def test_a_further_reading_ranks_as_if_all_were_new(board: Path) -> None:
    """A reading that comes on top begins where the boards came to rest, and shows the same."""
    job = load(board)
    job.rank(READ[:1])
    whole = job.rank(READ)
    for path in board.parent.rglob("*.npz"):
        path.unlink()
    assert same(whole, load(board).rank(READ))


def test_what_to_read_next_begins_with_the_ranking_before(board: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same readings are not ranked twice in one job, and what is advised is what a new job advises."""
    job = load(board)
    fresh = job.next(READ[:2]).to_dict()
    assert load(board).next(READ[:2]).to_dict() == fresh
    job.rank(READ)
    monkeypatch.setattr(Table, "of", None)
    job.next(READ)
    with pytest.raises(TypeError):
        job.next(READ[:2])


@pytest.mark.parametrize("damage", [b"", b"PK\x03\x04 cut short", b"no archive at all"])
def test_a_damaged_file_counts_as_none(board: Path, damage: bytes) -> None:
    """Whatever is found on disk, the ranking stands."""
    before = load(board).rank(READ)
    (kept,) = board.parent.rglob("*.npz")
    kept.write_bytes(damage)
    assert same(before, load(board).rank(READ))
