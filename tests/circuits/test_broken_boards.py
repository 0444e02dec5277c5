"""Readings of broken boards: each file names its true fault, and the ranking puts it into the first group."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqsim.board import Board
from seqsim.faults import find_fault

FOLDER = Path(__file__).parents[2] / "circuits"
NAMES = sorted(path.name.removesuffix(".readings.yaml") for path in FOLDER.glob("*.readings.yaml"))
QUICK = frozenset({"lamp_charger", "power_good_chain", "tide_gauge"})
"""Boards that are ranked within about a second each; the benchmarks take the others."""


def true_fault(name: str) -> str:
    """Return the fault that a file of readings names at its head."""
    text = (FOLDER / f"{name}.readings.yaml").read_text(encoding="utf-8")
    found = re.search(r"^# True fault: (.+)$", text.partition("format:")[0], re.MULTILINE)
    assert found is not None, name
    return found[1]


def test_boards_and_chains_have_readings() -> None:
    """Every circuit beyond a single stage has readings of a broken one, and names a fault that it knows."""
    names = (path.stem for path in FOLDER.glob("*.yaml") if not path.name.endswith(".readings.yaml"))
    assert [*NAMES] == sorted(name for name in names if Board.load(name).circuit.level != "stage")
    for name in NAMES:
        find_fault(Board.load(name).circuit, true_fault(name))


@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.benchmark) for name in NAMES]
)
def test_the_true_fault_is_in_the_first_group(name: str) -> None:
    """It stands in the likeliest group of look-alikes, and its place in the first entry of `where`."""
    ranking = Board.load(name).rank(FOLDER / f"{name}.readings.yaml").to_dict()
    true = true_fault(name)
    first = ranking["hypotheses"][0]["group"]
    group = [each for each in ranking["hypotheses"] if each["group"] == first]
    assert any(true in each["faults"] for each in group), [each["faults"] for each in group]
    assert all(each["readings_explained"] == each["readings_total"] for each in group if true in each["faults"])
    assert true.partition(":")[0] in ranking["where"][0]["places"]
