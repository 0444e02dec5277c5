"""What reaches the screen: pipes, colours, encodings, names of all scripts."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Shell = Callable[[str], Any]

WIDE = """\
format: 1
title: 門の鍵 (invented for the tests)
supplies:
  電源: {volts: 10, net: 電源線}
power_states:
  動作: {on: [電源]}
parts:
  R1: {kind: resistor, ohms: 10k, pins: [電源線, "中点[red]"]}
  R2: {kind: resistor, ohms: 10k, pins: ["中点[red]", GND]}
  Ωμέγα#: {kind: resistor, ohms: 10k, pins: ["+5V_😀", GND]}
"""


@pytest.fixture
def wide(tmp_path: Path) -> Path:
    path = tmp_path / "wide.yaml"
    path.write_text(WIDE, encoding="utf-8")
    return path


def cells(text: str) -> int:
    """Columns that a text takes on a terminal."""
    from rich.cells import cell_len

    return cell_len(text)


def test_names_of_all_scripts_line_up(shell: Shell, wide: Path) -> None:
    """Columns line up under names of double width; brackets in a name are letters, not markup."""
    lines = [line for line in shell(f"levels {wide}").out.splitlines() if " V" in line]
    assert any("中点[red]" in line for line in lines)
    assert any("+5V_😀" in line for line in lines)
    ends = {cells(line[: line.index(" V") + 2]) for line in lines}
    assert len(ends) == 1


def test_json_keeps_names(shell: Shell, wide: Path) -> None:
    """JSON carries names of all scripts unharmed."""
    fields = json.loads(shell(f"levels {wide} --json").out)
    assert fields["nodes"]["中点[red]"]["volts"] == pytest.approx(5.0, abs=0.01)


def test_poor_encodings_are_survived(program: Callable[..., Any], wide: Path) -> None:
    """Where the terminal knows ASCII alone, text has question marks and JSON escapes; nothing fails."""
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    done = program(f"levels {wide}", **ascii_only)
    assert (done.code, done.err) == (0, "")
    assert "?" in done.out
    fields = json.loads(program(f"levels {wide} --json", **ascii_only).out)
    assert "中点[red]" in fields["nodes"]


def test_pipes_get_no_colours(program: Callable[..., Any]) -> None:
    """What is piped holds no escape codes, no cut-off words and no blanks at the ends of lines."""
    for line in ("list", "list --parts", "list --parts npn", "faults greenhouse_fan", "levels organ_blower", "--help"):
        done = program(line)
        assert done.code == 0
        assert "\x1b" not in done.out
        assert "…" not in done.out
        if line != "--help":
            assert all(row == row.rstrip() for row in done.out.splitlines())


def on_terminal(line: list[str], **environment: str) -> str:
    """What a command prints on a terminal."""
    leader, follower = pty.openpty()
    kept = {name: value for name, value in os.environ.items() if name not in {"NO_COLOR", "FORCE_COLOR", "CI"}}
    process = subprocess.Popen(
        [sys.executable, "-m", "seqsim", *line],
        stdout=follower,
        stdin=follower,
        env=kept | {"TERM": "xterm-256color", "COLUMNS": "100"} | environment,
    )
    os.close(follower)
    seen = b""
    while True:
        try:
            piece = os.read(leader, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        seen += piece
    os.close(leader)
    assert process.wait() == 0
    return seen.decode("utf-8")


def test_colours_on_a_terminal_unless_refused() -> None:
    """A terminal gets emphasis; with NO_COLOR set there is no colour."""
    assert "\x1b[" in on_terminal(["faults", "greenhouse_fan"])
    plain = on_terminal(["faults", "greenhouse_fan"], NO_COLOR="1")
    colours = [f"\x1b[{code}m" for code in range(30, 38)] + ["\x1b[38;"]
    assert not any(code in plain for code in colours)


def test_reader_that_hangs_up() -> None:
    """`seqsim faults BOARD | head -1` ends quietly."""
    command = f"{sys.executable} -m seqsim faults organ_blower --json | head -1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], check=False, capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, "{\n", "")


def test_columns_rule_the_width(program: Callable[..., Any]) -> None:
    """COLUMNS sets the width of what is piped; without it lines are at most 120 columns."""
    assert max(map(cells, program("list --parts", COLUMNS="70").out.splitlines())) <= 70
    assert max(map(cells, program("list --parts").out.splitlines())) <= 120
