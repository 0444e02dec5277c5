"""`seqsim check`."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import seqsim

Shell = Callable[[str], Any]


def test_clean_file(shell: Shell, divider: Path) -> None:
    """A file without errors and warnings: what was counted, exit code 0."""
    done = shell(f"check {divider}")
    assert (done.code, done.err) == (0, "")
    assert "3 parts, 3 nets, 3 power states" in done.out


def test_warnings(shell: Shell, divider: Path) -> None:
    """What is legal but suspicious is told with its line: exit code 1."""
    text = divider.read_text(encoding="utf-8").replace(
        "rails:", "  R3: {kind: resistor, ohms: 1k, pins: [MID, STRAY]}\nrails:"
    )
    divider.write_text(text, encoding="utf-8")
    line = text[: text.index("R3")].count("\n") + 1
    done = shell(f"check {divider}")
    assert (done.code, done.err) == (1, "")
    assert f"{divider}:{line}: warning: " in done.out.replace("\n", " ")
    assert "STRAY" in done.out
    fields = json.loads(shell(f"check {divider} --json").out)
    assert [(warning["line"], warning["place"]) for warning in fields["warnings"]] == [(line, "STRAY")]
    assert fields["errors"] == []


def test_every_error_is_told(shell: Shell, divider: Path) -> None:
    """All errors of a file in one run, each with file and line on one line of standard error: exit code 2."""
    text = divider.read_text(encoding="utf-8").replace("ohms: 10k", "ohms: 10q").replace("target: MID", "target: MDI")
    divider.write_text(text, encoding="utf-8")
    done = shell(f"check {divider}")
    assert done.code == 2
    lines = done.err.splitlines()
    numbers = [k for k, line in enumerate(text.splitlines(), start=1) if "10q" in line or "MDI" in line]
    assert [line.split(": ")[1] for line in lines] == [f"{divider}:{number}" for number in numbers]
    assert "3 errors" in done.out
    fields = json.loads(shell(f"check {divider} --json").out)
    assert [error["line"] for error in fields["errors"]] == numbers
    assert shell(f"check {divider} --json").code == 2


def test_other_commands_tell_the_first_error(shell: Shell, divider: Path) -> None:
    """Other commands stop at a broken file with its first error, and say how many there are."""
    text = divider.read_text(encoding="utf-8").replace("ohms: 10k", "ohms: 10q")
    divider.write_text(text, encoding="utf-8")
    for command in ("levels", "faults", "rank"):
        done = shell(f"{command} {divider}")
        assert (done.code, done.out) == (2, "")
        assert done.err.count("\n") == 1
        assert "1 more error" in done.err


def test_starter(shell: Shell, tmp_path: Path) -> None:
    """`--new` writes a commented file that checks clean and can be asked at once; a file that exists is left alone."""
    path = tmp_path / "mine.yaml"
    done = shell(f"check --new {path}")
    assert (done.code, done.err) == (0, "")
    text = path.read_text(encoding="utf-8")
    assert text.count("#") > 5
    assert shell(f"check {path}").code == 0
    assert shell(f"levels {path}").code == 0
    again = shell(f"check --new {path}")
    assert again.code == 2
    assert "exists already" in again.err
    assert path.read_text(encoding="utf-8") == text


def test_starter_where_nothing_can_be_written(shell: Shell, tmp_path: Path) -> None:
    """A folder that does not exist is bad input."""
    done = shell(f"check --new {tmp_path}/nowhere/mine.yaml")
    assert (done.code, done.out) == (2, "")
    assert "cannot be written" in done.err


def test_board_checks_itself() -> None:
    """The same from Python, on a board that is loaded."""
    checked = seqsim.load("inverting_npn").check()
    assert checked.errors == ()
    assert checked.warnings == ()
    assert "nothing suspicious" in str(checked)


def test_load_raises() -> None:
    """From Python a circuit that is not there raises, with the text that the shell prints."""
    with pytest.raises(seqsim.SeqsimError, match="did you mean inverting_npn"):
        seqsim.load("inverting_npm")
