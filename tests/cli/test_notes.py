"""`seqsim notes`, and notes where other commands take a circuit file."""

from __future__ import annotations

import json
import os
import pty
import select
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Shell = Callable[[str], Any]

LINES = ("target EN", "V5 5.02", "R9 4k7 1=V5 2=en", "Q7 npn? 1=R12.2 2=gnd 3=EN")


@pytest.fixture
def board(tmp_path: Path) -> Path:
    """Notes of an invented stage, half traced."""
    path = tmp_path / "board.notes"
    path.write_text("".join(f"{line}\n" for line in LINES), encoding="utf-8")
    return path


def test_lines_are_added_and_taken_back(shell: Shell, tmp_path: Path) -> None:
    """A new file begins with the first fact; `--undo` takes the last line out, `--drop` any."""
    path = tmp_path / "new.notes"
    done = shell(f"notes {path} --add 'target EN' --add 'V5 5.02' --add 'R9 4k7 1=V5 2=EN'")
    assert (done.code, done.err) == (0, "")
    assert "1 part, target EN" in done.out
    assert path.read_text(encoding="utf-8").splitlines()[1:] == ["target EN", "V5 5.02", "R9 4k7 1=V5 2=EN"]
    shell(f"notes {path} --add 'R8 1k 1=EN' --undo --drop 3 --add 'V5 4.98'")
    assert path.read_text(encoding="utf-8").splitlines()[1:] == ["target EN", "R8 1k 1=EN", "V5 4.98"]


def test_a_line_that_contradicts_is_left_out(shell: Shell, board: Path) -> None:
    """Both lines are shown, the file stays as it was: exit code 2."""
    before = board.read_bytes()
    done = shell(f"notes {board} --add 'R9 10k'")
    assert (done.code, done.out) == (2, "")
    assert "'R9 10k' contradicts line 3, 'R9 4k7 1=V5 2=en'" in done.err
    assert board.read_bytes() == before


def test_what_is_not_known_and_what_to_trace(shell: Shell, board: Path) -> None:
    """Doubts with their probabilities, and the end to trace on from, in words and as fields."""
    done = shell(f"notes {board} --read 'EN 0.02'")
    assert done.code == 0
    assert "Q7 is most likely an NPN" in done.out
    assert "trace on from R12.1: what drives it?" in done.out
    fields = json.loads(shell(f"notes {board} --read 'EN 0.02' --json").out)
    assert {each["name"] for each in fields["unknowns"]} == {"Q7", "R12_1", "R12 ohms"}
    for each in fields["unknowns"]:
        assert sum(answer["probability"] for answer in each["answers"]) == pytest.approx(1)
    assert fields["trace"][0]["place"] == "R12.1"
    assert fields["nets"]["EN"] == ["R9.2", "Q7.C"]


def test_errors_of_a_file_are_all_shown(shell: Shell, board: Path) -> None:
    """What is wrong with lines typed elsewhere is told beside them: exit code 2."""
    board.write_text("\n".join([*LINES, "R9 10k", "frobnicate"]), encoding="utf-8")
    done = shell(f"notes {board}")
    assert done.code == 2
    assert [line.split(": ")[1].rsplit(":", 1)[1] for line in done.err.splitlines()] == ["5", "6"]
    assert "to be mended" in done.out
    assert shell(f"check {board}").code == 2


@pytest.mark.parametrize(
    "command", ["check", "levels", "faults", "why", "logic", "powerup", "rank", "next", "verify", "notes"]
)
def test_every_command_takes_notes(shell: Shell, board: Path, command: str) -> None:
    """Notes stand where a circuit file may stand, and what is taken for granted is said."""
    done = shell(f"{command} {board}")
    assert done.code in (0, 1)
    assert done.out
    if command in ("levels", "why", "powerup"):
        assert "the notes leave this open" in done.err
    if command in ("next", "verify"):
        assert "the likeliest drawing alone: Q7 as an NPN" in done.out


def test_a_beep_that_the_notes_do_not_expect(shell: Shell, board: Path) -> None:
    """It counts as a fault, and the line is told that would make it a contact; nothing of the weighing leaks out."""
    told = "EN to R12.1 beeps by a fault; if EN and R12_1 are one net, note: EN = R12.1"
    assert told in shell(f"notes {board} --read 'EN to R12.1 beep'").out
    done = shell(f"rank {board} --read 'EN to R12.1 beep'")
    assert told in done.out
    assert "beyond_" not in done.out
    assert "history" not in done.out
    told = "R12.2 to Q7.1 is broken; if they were never one net, write R12.2 not Q7.1 in place of the contact"
    assert told in " ".join(shell(f"notes {board} --read 'R12.2 to Q7.1 silent'").out.split())


def test_on_the_screen_of_a_phone(shell: Shell, board: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At 44 columns lines are folded between words, tables told row by row."""
    monkeypatch.setenv("COLUMNS", "44")
    for command in ("notes", "rank"):
        out = shell(f"{command} {board} --read 'EN 0.02'").out
        assert max(map(len, out.splitlines())) <= 44
        assert "1. trace on from R12.1: what drives it?" in out
        folded = " ".join(out.split())
        assert "Q7 is most likely an NPN" in folded
        if command == "rank":
            assert "EN kind volts state @powered read 20.0 mV" in folded


def test_notes_become_a_circuit_file(shell: Shell, board: Path, tmp_path: Path) -> None:
    """`--circuit` writes the same parts, with comments that say what is doubtful; nothing is overwritten."""
    from seqsim.circuit import read_circuit

    path = tmp_path / "board.yaml"
    done = shell(f"notes {board} --circuit --output {path}")
    assert done.code == 0
    written, noted = read_circuit(path), read_circuit(board)
    assert {name: part.pins for name, part in written.parts.items()} == {n: p.pins for n, p in noted.parts.items()}
    assert written.target == noted.target
    assert "doubtful, may be nmos" in path.read_text(encoding="utf-8")
    assert shell(f"notes {board} --circuit --output {path}").code == 2
    assert shell(f"notes {board} --output {path}").code == 2


def test_facts_go_into_a_circuit_file(shell: Shell, board: Path, tmp_path: Path) -> None:
    """`--add` writes a fact into a circuit file, whose comments stay; what is told beside it is what is not known."""
    path = tmp_path / "board.yaml"
    shell(f"notes {board} --circuit --output {path}")
    path.write_text("# traced twice\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    before = path.read_text(encoding="utf-8").splitlines()
    done = shell(f"notes {path} --add 'R12 22k' --add 'R12.1 is G7'")
    assert (done.code, done.err) == (0, "")
    assert "R12 ohms ? → 22k" in done.out
    assert "net R12_1 → G7" in done.out
    after = path.read_text(encoding="utf-8").splitlines()
    assert [line for line, was in zip(after, before, strict=True) if line != was] == [
        "  R12: {kind: resistor, ohms: 22k, pins: {2: Q7_1, 1: G7}}  # line 4"
    ]
    fields = json.loads(shell(f"notes {path} --add 'R12 10k' --json").out)
    assert len(fields["changes"]) == 1
    assert fields["parts"] == {"R9": "resistor", "Q7": "npn", "R12": "resistor"}


def test_what_a_circuit_file_does_not_take(shell: Shell, board: Path, tmp_path: Path) -> None:
    """One sentence says why, nothing is written: exit code 2."""
    path = tmp_path / "board.yaml"
    shell(f"notes {board} --circuit --output {path}")
    before = path.read_bytes()
    for options in ("--add 'R12 22k' --add 'Q8 fet? G=EN'", "--add 'read EN 0.02'", "--undo", "--drop 3", "--circuit"):
        done = shell(f"notes {path} {options}")
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert path.read_bytes() == before


def test_there_are_no_notes_yet(shell: Shell, tmp_path: Path) -> None:
    """A file that does not exist is begun with `--add`; another suffix is no notes file."""
    done = shell(f"notes {tmp_path}/none.notes")
    assert done.code == 2
    assert "begin with" in done.err
    assert shell(f"notes {tmp_path}/none.yaml --add 'target EN'").code == 2


class Terminal:
    """The program at a pseudo-terminal."""

    def __init__(self, arguments: list[str], folder: Path) -> None:
        self.master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "seqsim", *arguments], stdin=slave, stdout=slave, stderr=slave, cwd=folder,
            env=os.environ | {"TERM": "dumb", "PYTHONUTF8": "1"}, close_fds=True,
        )  # fmt: skip
        os.close(slave)
        self.shown = ""

    def wait_for(self, words: str, seconds: float = 60) -> str:
        """Return what was shown since the last call, up to these words."""
        end = time.monotonic() + seconds
        while words not in self.shown:
            assert time.monotonic() < end, f"{words!r} did not come; shown was {self.shown!r}"
            if select.select([self.master], [], [], 0.2)[0]:
                try:
                    self.shown += os.read(self.master, 4096).decode("utf-8", errors="replace")
                except OSError:
                    break
        before, found, self.shown = self.shown.partition(words)
        assert found, f"{words!r} did not come before the end; shown was {before!r}"
        return before + found

    def type_in(self, line: str) -> str:
        """Type a line and return the answer, up to the next prompt."""
        os.write(self.master, f"{line}\n".encode())
        return self.wait_for("notes> ")

    def close(self) -> int:
        """End the session and return the exit code."""
        code = self.process.wait(timeout=60)
        os.close(self.master)
        return code


def test_a_session_at_a_terminal(tmp_path: Path) -> None:
    """Lines are typed, refused with both lines, taken back and saved; each is answered with what to trace next."""
    terminal = Terminal(["notes", "board.notes"], tmp_path)
    terminal.wait_for("notes> ")
    assert "still open" in terminal.type_in("target EN")
    assert "line 2 taken" in terminal.type_in("V5 5.02")
    assert "line 3 taken" in terminal.type_in("R9 4k7 1=V5 2=en")
    assert "next: trace on from R12.1" in terminal.type_in("Q7 npn 1=R12.2 2=gnd 3=EN sot23")
    assert "contradicts line 3, 'R9 4k7 1=V5 2=en'" in terminal.type_in("R9 10k")
    assert "did you mean resistor" in terminal.type_in("R8 resistr 10k")
    assert "line 5 taken" in terminal.type_in("R12 10k 1=G7")
    shown = terminal.type_in("show")
    assert "R12 10k 1=G7" in shown
    assert "3 parts, target EN" in shown
    assert "4 lines" in terminal.type_in("undo")
    assert "saved 5 lines" in terminal.type_in("save")
    assert "R12.2 not Q7.1" in terminal.type_in("help")
    terminal.type_in("R12 22k")
    os.write(terminal.master, b"quit\n")
    terminal.wait_for("saved 6 lines in board.notes")
    assert terminal.close() == 0
    lines = (tmp_path / "board.notes").read_text(encoding="utf-8").splitlines()
    assert lines[1:] == ["target EN", "V5 5.02", "R9 4k7 1=V5 2=en", "Q7 npn 1=R12.2 2=gnd 3=EN sot23", "R12 22k"]
