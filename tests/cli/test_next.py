"""`seqsim next`: the reading to take, from the shell."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import seqsim

Shell = Callable[[str], Any]


def test_without_readings(shell: Shell) -> None:
    """It says where to begin, with every supply off, and shows the usual cautions."""
    done = shell("next inverting_npn")
    assert done.code == 0
    assert "ohms at V5" in done.out
    assert "power stays off" in done.out
    assert "Local codes" in done.out


def test_with_readings(shell: Shell) -> None:
    """Each reading comes with place, time, outcomes and how to write it; the text and the fields agree."""
    line = "next inverting_npn --read 'V5 100k ohm' --read 'HEAT_EN 0.03' --most 2"
    fields = json.loads(shell(f"{line} --json").out)
    assert fields["circuit"] == "inverting_npn"
    assert len(fields["next"]) == 2
    text = shell(line).out
    for step in fields["next"]:
        assert step["write"] in text
        assert f"{step['seconds']:.0f} s" in text


def test_in_python() -> None:
    """`board.next` returns what the command prints."""
    board = seqsim.load("inverting_npn")
    assert board.next(["V5 100k ohm", "HEAT_EN 0.03"], most=1).next[0].bits > 0


def test_a_bad_reading_is_told(shell: Shell) -> None:
    """What is not understood ends in one sentence and the code of bad input."""
    done = shell("next inverting_npn --read 'NOWHERE 0.1'")
    assert done.code == 2
    assert "NOWHERE" in done.err


def test_rank_advises_on_request(shell: Shell) -> None:
    """`rank --next` fills the field `next` with the best three; without the option it stays empty and quick."""
    line = "rank inverting_npn --read 'V5 100k ohm' --read 'HEAT_EN 0.03'"
    assert json.loads(shell(f"{line} --json").out)["next"] == []
    fields = json.loads(shell(f"{line} --next --json").out)
    assert 1 <= len(fields["next"]) <= 3
    assert "read next" in shell(f"{line} --next").out


def test_rank_says_what_proves_a_repair(shell: Shell) -> None:
    """The leading faults come with readings that a repaired board shows; the text tells them."""
    line = "rank inverting_npn --read 'V5 101k ohm' --read 'HEAT_EN 4.9 @open' --read 'Q1_BASE 0.0'"
    best = json.loads(shell(f"{line} --json").out)["hypotheses"][0]
    assert best["faults"]
    assert best["proof"]
    assert best["proof"][0].keys() >= {"place", "kind", "state", "low", "high", "unit"}
    assert "once repaired" in shell(line).out
