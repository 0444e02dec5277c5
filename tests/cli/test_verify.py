"""`seqsim verify`: a repaired board, from the shell."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import seqsim

Shell = Callable[[str], Any]

RIGHT = "--read 'V5 101k ohm' --read 'HEAT_EN 4.95 @shut' --read 'HEAT_EN 0.10 @open'"


def test_proved(shell: Shell) -> None:
    """A board on which all is right ends with 0 and says so first."""
    done = shell(f"verify inverting_npn {RIGHT}")
    assert done.code == 0
    assert done.out.startswith("inverting_npn: proved")


def test_off(shell: Shell) -> None:
    """Something off ends with 1; the fields and the text name it."""
    line = "verify inverting_npn --read 'HEAT_EN 1.2 @shut'"
    done = shell(f"{line} --json")
    assert done.code == 1
    fields = json.loads(done.out)
    assert (fields["verdict"], fields["readings"][0]["verdict"]) == ("off", "low")
    assert "not good" in shell(line).out


def test_incomplete(shell: Shell) -> None:
    """What was not read proves nothing: the code is 1, and what is missing is listed."""
    done = shell("verify inverting_npn --repaired R1:open")
    assert done.code == 1
    assert "not yet proved" in done.out
    assert "proves that R1:open is gone" in done.out


def test_unknown_fault(shell: Shell) -> None:
    """A fault that the board cannot have is bad input."""
    done = shell("verify inverting_npn --repaired R99:open")
    assert done.code == 2
    assert "R99" in done.err


def test_in_python() -> None:
    """`board.verify` returns what the command prints."""
    assert seqsim.load("inverting_npn").verify(["HEAT_EN 1.2 @shut"]).verdict == "off"
