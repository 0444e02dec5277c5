"""Bad options and arguments: one sentence on standard error that names the mend, exit code 2, nothing else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from seqsim.cli.main import run

Shell = Callable[[str], Any]

BAD = [
    ("--jsno", "no option --jsno", "--help"),
    ("lst", "'lst'", "did you mean 'list'?"),
    ("frobnicate", "'frobnicate'", "`seqsim --help`"),
    ("check", "needs a circuit file", "--new FILE"),
    ("check --new", "--new", "requires an argument"),
    ("check --new a.yaml greenhouse_fan", "'greenhouse_fan'", "leave out"),
    ("check greenhuose_fan", "'greenhuose_fan'", "did you mean greenhouse_fan?"),
    ("check ''", "empty", "seqsim list"),
    ("list greenhouse_fan", "only with --parts", "list --parts greenhouse_fan"),
    ("list --parts resistr", "'resistr'", "did you mean resistor"),
    ("list --parts resistor npn", "unexpected extra argument", "`seqsim list --help`"),
    ("levels", "'BOARD'", "`seqsim levels --help`"),
    ("levels greenhouse_fan --state", "--state", "requires an argument"),
    ("levels greenhouse_fan --state runing", "'runing'", "did you mean running?"),
    ("levels greenhouse_fan --stat running", "--stat", "did you mean --fault or --state?"),
    ("levels greenhouse_fan --fault R5", "'R5' is no fault", "PLACE:mode"),
    ("levels greenhouse_fan --fault R5:opne", "'R5:opne'", "'R5:open'"),
    ("levels greenhouse_fan --fault R55:open", "R55", "did you mean 'R5'"),
    ("levels greenhouse_fan --fault 'R5:open x3'", "'R5:open' has no severity", "leave that out"),
    ("levels greenhouse_fan --fault 'R5:high xyz'", "yz", "write it like"),
    ("levels greenhouse_fan --json=yes", "--json", "does not take a value"),
    ("levels nowhere/board.yaml", "nowhere/board.yaml", "check the path"),
    ("levels .", "'.'", "write ./"),
    ("levels ..//", "folder", "name a file"),
    ("faults greenhouse_fan organ_blower", "unexpected extra argument", "`seqsim faults --help`"),
    ("faults -x greenhouse_fan", "no option -x", "`seqsim faults --help`"),
    ("rank", "'BOARD'", "`seqsim rank --help`"),
    ("rank greenhouse_fan --red 'EN 0.02'", "--red", "did you mean --read?"),
    ("rank greenhouse_fan --read", "--read", "requires an argument"),
    ("rank greenhouse_fan missing.yaml", "missing.yaml", "check the path"),
    ("rank greenhouse_fan .", "folder", "name a file of readings"),
    ("rank greenhouse_fan --read 'EN_BLOWR 0.02'", "EN_BLOWR", "EN_BLOWER"),
    ("rank greenhouse_fan --read 'EN_BLOWER volts'", "EN_BLOWER volts", "like"),
    ("rank greenhouse_fan --read 'EN_BLOWER 0.02 @runing'", "runing", "running"),
    ("rank greenhouse_fan --read ''", "names no place", "like EN 0.02"),
]


@pytest.mark.parametrize(("line", "names", "mends"), BAD, ids=[line for line, _, _ in BAD])
def test_bad_options_are_one_sentence(
    shell: Shell, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, line: str, names: str, mends: str
) -> None:
    """Each names what is wrong and a way out on one line, and prints nothing on standard output."""
    monkeypatch.chdir(tmp_path)
    done = shell(line)
    assert done.code == 2
    assert done.out == ""
    assert done.err.startswith("seqsim: ")
    assert done.err.count("\n") == 1
    assert names in done.err
    assert mends in done.err
    assert not list(tmp_path.iterdir())


def test_a_byte_that_is_no_text(capsys: pytest.CaptureFixture[str]) -> None:
    """An argument that is no UTF-8 is complained of like any other name, not with a traceback."""
    assert run(["levels", "board\udcff"]) == 2
    assert capsys.readouterr().err.startswith("seqsim: ")


def test_no_traceback_from_the_shell(program: Callable[..., Any]) -> None:
    """From a shell too: exit code 2 and one sentence."""
    done = program("levels greenhouse_fan --state runing")
    assert (done.code, done.out) == (2, "")
    assert done.err == "seqsim: there is no power state called 'runing'; did you mean running?\n"
