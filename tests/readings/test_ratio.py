"""Readings told as a ratio to a known-good board, in shorthand and in files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from seqsim.circuit import Circuit
from seqsim.errors import ReadingError
from seqsim.readings import format_reading, parse_reading, read_readings

GOOD: list[tuple[str, dict[str, Any]]] = [
    ("EN 0.4x of good", {"kind": "volts", "value": 0.4, "resolution": 0.1, "state": "running"}),
    ("EN 0.40x", {"value": 0.4, "resolution": 0.01}),
    ("EN 0.4 of good", {"value": 0.4}),
    ("EN 40% of a good board", {"value": 0.4, "resolution": 0.01}),
    ("EN 2 x of the known-good board", {"value": 2.0, "resolution": 1.0}),
    ("EN about 0.4x", {"value": 0.4, "about": True}),
    ("EN 0.3x..0.5x of good", {"value": (0.3, 0.5), "resolution": None}),
    ("EN 30..50%", {"value": (0.3, 0.5)}),
    ("EN 0x of good @battery", {"value": 0.0, "state": "battery"}),
    ("BASE 0.5x of good ohm", {"kind": "ohms", "value": 0.5, "state": "off"}),
    ("BASE diode 0.9x", {"kind": "diode", "value": 0.9}),
    ("VBAT 3x of good amps", {"kind": "current", "place": "VBAT", "value": 3.0}),
    ("R1.1 to R1.2 1.5x of good", {"to": "R1.2", "value": 1.5}),
    ("EN 0.4x of good with R1 lifted", {"value": 0.4}),
]

BAD = [
    ("EN -0.4x of good", "negative"),
    ("EN 5000x of good", "more than 1000 times"),
    ("EN 0.5x..0.3x of good", "does not rise"),
    ("EN low of good", "no share"),
    ("EN OL of good", "no share"),
    ("EN 0.4V of good", "no share"),
    ("EN of good", "no share"),
    ("Q1 feels 2x of good", "told by a word"),
    ("EN level 0.4x", "told by a word"),
    ("EN 0.4x 0.5x", "more than one value"),
]


@pytest.mark.parametrize(("text", "fields"), GOOD)
def test_ratios_are_read_and_written_back(board: Circuit, text: str, fields: dict[str, Any]) -> None:
    """Every form is understood, and what is written back is understood as the same."""
    reading = parse_reading(board, text)
    assert reading.of_good
    for name, expected in fields.items():
        assert getattr(reading, name) == (pytest.approx(expected) if name in ("value", "resolution") else expected)
    again = parse_reading(board, format_reading(reading))
    assert again.of_good
    assert again.probe() == reading.probe()
    assert again.value == pytest.approx(reading.value)


@pytest.mark.parametrize(("text", "why"), BAD)
def test_what_is_no_ratio_is_refused(board: Circuit, text: str, why: str) -> None:
    """What cannot be read beside a good board is refused in one sentence."""
    with pytest.raises(ReadingError, match=why) as caught:
        parse_reading(board, text)
    assert "\n" not in str(caught.value)


def test_files_hold_ratios(board: Circuit, tmp_path: Path) -> None:
    """YAML and CSV take them as values; under `reference:` they are refused with their line."""
    table, tree = tmp_path / "told.csv", tmp_path / "told.yaml"
    table.write_text("place,kind,value\nEN,,0.4x\nBASE,ohms,50% of good\n", encoding="utf-8")
    tree.write_text(
        'format: 1\nreadings: ["EN 0.4x of good", {place: BASE, kind: ohms, value: 0.5x}]\n', encoding="utf-8"
    )
    for path in (table, tree):
        told = read_readings(board, path).readings
        assert [(each.kind, each.value, each.of_good) for each in told] == [("volts", 0.4, True), ("ohms", 0.5, True)]
    tree.write_text('format: 1\nreference:\n  - "EN 0.4x of good"\n', encoding="utf-8")
    with pytest.raises(ReadingError, match="good board reads as itself") as caught:
        read_readings(board, tree)
    assert caught.value.line == 3
