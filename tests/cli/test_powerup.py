"""The command `powerup`."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rail_pair import CHAIN

Shell = Callable[[str], Any]


@pytest.fixture
def board(tmp_path: Path) -> Path:
    path = tmp_path / "chain.yaml"
    path.write_text(CHAIN, encoding="utf-8")
    return path


def test_shows_the_order(shell: Shell, board: Path) -> None:
    """People see rails with their times, the first missing one, and events."""
    told = shell(f"powerup {board} --fault 'U2:no output' --until 80ms --boards 0")
    assert told.code == 0
    assert "first missing: V3" in told.out
    assert "it waits for U2 to start" in told.out
    assert "V3 enabled" in told.out


def test_json(shell: Shell, board: Path) -> None:
    """Programs get the documented fields."""
    told = shell(f"powerup {board} --boards 2 --json")
    fields = json.loads(told.out)
    assert fields["schema"] == 1
    assert [rail["net"] for rail in fields["rails"]] == ["V5", "V3"]
    assert fields["draws"] == 2


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_plot(shell: Shell, board: Path, tmp_path: Path, suffix: str) -> None:
    """A picture is written where it was asked for."""
    path = tmp_path / f"up.{suffix}"
    assert shell(f"powerup {board} --boards 0 --plot {path}").code == 0
    head = path.read_bytes()[:64]
    assert head.startswith(b"\x89PNG") if suffix == "png" else b"<?xml" in head


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--until 0", "until 0 cannot be run"),
        ("--until soon", "'soon' is not a value in s"),
        ("--fault U9:dead", "no fault"),
        ("--plot up.bmp", ".png, .svg, .pdf"),
        ("--plot /nowhere/at/all/up.png", "no folder"),
        ("--boards -1", "boards"),
    ],
)
def test_bad_options(shell: Shell, board: Path, options: str, words: str) -> None:
    """Options without meaning are refused in one sentence."""
    told = shell(f"powerup {board} {options}")
    assert told.code == 2
    assert words in told.err
    assert told.err.count("\n") == 1
