"""A board's history in a ranking: what it brings into the list, and what the answer tells of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import seqsim
from seqsim.errors import ReadingError

NPN = "inverting_npn"
NOT_PULLED = ("HEAT_EN 4.90 @open", "Q1.B 3.00 @open")
"""The base at 3 V holds no junction to ground, and the collector stays high."""


def test_a_reworked_transistor_may_sit_the_wrong_way_round() -> None:
    """Its base and emitter exchanged read the same as an open emitter; without rework nobody thinks of it."""
    board = seqsim.load(NPN)
    names = {name for each in board.rank(NOT_PULLED).hypotheses for name in each.faults}
    assert "Q1:B-E exchanged" not in names
    found = board.rank(NOT_PULLED, history=["rework at Q1"])
    chance = {name: each.probability for each in found.hypotheses for name in each.faults}
    assert chance["Q1:B-E exchanged"] > 0.05
    assert sum(each.probability for each in found.hypotheses) + found.none_of_these == pytest.approx(1.0)


def test_the_answer_tells_what_was_tilted() -> None:
    """In the fields and in words, the factor beside what was said."""
    found = seqsim.load(NPN).rank(NOT_PULLED, history=["rework at Q1", "leak x3"])
    told = json.loads(found.to_json())["history"]
    assert {"said": "rework at Q1", "key": "joint", "places": ["Q1"], "factor": 10.0} in told
    assert {"said": "leak x3", "key": "leak", "places": [], "factor": 3.0} in told
    assert "rework at Q1" in str(found)
    assert "x10" in str(found)
    assert "history" not in str(seqsim.load(NPN).rank(NOT_PULLED))


def test_a_file_of_readings_tells_the_history(tmp_path: Path) -> None:
    """`history:` and `past:`, the latter beside the file."""
    (tmp_path / "jobs.yaml").write_text("format: 1\ndiagnosed: {VIA1: 2, 'Q1:dead': 4}\n", encoding="utf-8")
    job = tmp_path / "job.yaml"
    job.write_text(
        "format: 1\nreadings: [HEAT_EN 4.90 @open, Q1.B 3.00 @open]\nhistory: [rework at Q1, 'leak x3']\n"
        "past: jobs.yaml\n",
        encoding="utf-8",
    )
    board = seqsim.load(NPN)
    found, plain = board.rank(job), board.rank(NOT_PULLED)
    assert [tilt.said for tilt in found.history][-1] == "found in 4 of 6 past jobs"
    dead = [
        next(each.probability for each in ranking.hypotheses if each.faults == ("Q1:dead",))
        / next(each.probability for each in ranking.hypotheses if each.faults == ("Q1.E:joint open",))
        for ranking in (found, plain)
    ]
    assert dead[0] != pytest.approx(dead[1], rel=0.1)


@pytest.mark.parametrize(
    ("line", "hint"),
    [
        ("history: lquid", "did you mean liquid"),
        ("history: {liquid: 1}", "list of phrases"),
        ("history: [[liquid]]", "list of phrases"),
        ("history: [liquid at Q9]", "Q9"),
        ("past: [a, b]", "name of one file"),
        ("past: nowhere.yaml", "cannot be read"),
    ],
)
def test_a_file_whose_history_is_not_understood(tmp_path: Path, line: str, hint: str) -> None:
    """One sentence with file and line; nothing is ranked without what was told."""
    job = tmp_path / "job.yaml"
    job.write_text(f"format: 1\nreadings: [HEAT_EN 4.90 @open]\n{line}\n", encoding="utf-8")
    with pytest.raises((ReadingError, LookupError), match=hint) as caught:
        seqsim.load(NPN).rank(job)
    assert "nowhere" in line or "job.yaml:3" in str(caught.value)


def test_shares_before_any_reading_are_tilted_too() -> None:
    """`faults` lists what a history brings, and tells its factors."""
    board = seqsim.load(NPN)
    found = board.faults(["rework at Q1"])
    assert "Q1:C-E exchanged" in {fault.name for fault in found.faults}
    assert "Q1:C-E exchanged" not in {fault.name for fault in board.faults().faults}
    assert "rework at Q1" in str(found)
