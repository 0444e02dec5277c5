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
