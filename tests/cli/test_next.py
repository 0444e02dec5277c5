"""`seqsim next`: the reading to take, from the shell."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import seqsim

Shell = Callable[[str], Any]
ONE_ODD = (
    "V5 101k ohm", "V5 5.0 @open", "HEAT_EN 4.9 @open", "Q1_BASE 0.68 @open", "Q1.C 0.03", "R1.1 to R1.2 10k ohm",
)  # fmt: skip
"""Of these HEAT_EN alone is not as on a healthy board."""


def test_without_readings(shell: Shell) -> None:
    """It says where to begin, with every supply off, and shows the usual cautions."""
    done = shell("next inverting_npn")
    assert done.code == 0
    assert "ohms at V5" in done.out
    assert "power stays off" in done.out
    assert "With power on, supplies come first: is V5 up?" in done.out
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


def test_rank_says_when_advice_has_stopped(shell: Shell) -> None:
    """Where nothing on offer helps any more `rank --next` says why, as `next` does."""
    told = (*ONE_ODD, "HEAT_EN 4.9 @open")
    line = "inverting_npn " + " ".join(f"--read '{reading}'" for reading in told)
    fields = json.loads(shell(f"rank {line} --next --json").out)
    assert fields["next"] == []
    assert fields["stop"]["stop"] in ("found", "look_alikes", "nothing_helps")
    assert fields["stop"]["leading"][0]["group"] == "Q1.C:joint open"
    text = shell(f"rank {line} --next").out
    assert "Stop here: Q1.C holds" in text
    assert "Stop here: Q1.C holds" in shell(f"next {line}").out
    assert json.loads(shell("rank inverting_npn --read 'HEAT_EN 4.9 @open' --next --json").out)["stop"] is None


def test_an_answer_that_one_reading_bears_waits_for_a_second_look(shell: Shell) -> None:
    """`next` and `rank --next`, as text and as fields: it is asked for once more, with the reason and the cautions."""
    line = "inverting_npn " + " ".join(f"--read '{reading}'" for reading in ONE_ODD)
    said = "The answer rests on this reading alone: take it once more before anything is replaced."
    text = shell(f"next {line}").out
    assert "1. volts at HEAT_EN" in text
    assert said in " ".join(text.split())
    assert "Stop here" not in text
    assert "Local codes" in text
    assert said in " ".join(shell(f"rank {line} --next").out.split())
    for command in ("next", "rank --next"):
        fields = json.loads(shell(f"{command} {line} --json").out)
        assert not fields["stop"]
        assert [(step["place"], step["again"]) for step in fields["next"]] == [("HEAT_EN", "bears_alone")]


def test_a_history_tilts_the_advice(shell: Shell, tmp_path: Path) -> None:
    """`next` takes history and past jobs as `rank` does, before any reading too."""
    line = "next inverting_npn --read 'V5 101k ohm' --read 'HEAT_EN 4.9 @open'"
    plain = json.loads(shell(f"{line} --json").out)["leading"]
    tilted = json.loads(shell(f"{line} --history 'VIA1 x50' --json").out)["leading"]
    assert plain != tilted
    assert any("VIA1:broken" in each["members"] for each in tilted)
    past = tmp_path / "jobs.yaml"
    past.write_text("format: 1\ndiagnosed: {joint: 9}\n", encoding="utf-8")
    assert shell(f"next inverting_npn --past {past} --history impact").code == 0
    assert shell("next inverting_npn --history 'rain at R1'").code == 2


def test_rank_says_what_proves_a_repair(shell: Shell) -> None:
    """The leading faults come with readings that a repaired board shows; the text tells them."""
    line = "rank inverting_npn --read 'V5 101k ohm' --read 'HEAT_EN 4.9 @open' --read 'Q1_BASE 0.0'"
    best = json.loads(shell(f"{line} --json").out)["hypotheses"][0]
    assert best["faults"]
    assert best["proof"]
    assert best["proof"][0].keys() >= {"place", "kind", "state", "low", "high", "unit"}
    assert "once repaired" in shell(line).out
