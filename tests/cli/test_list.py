"""`seqsim list`."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from seqsim.parts import KINDS

Shell = Callable[[str], Any]
CIRCUITS = Path(__file__).parents[2] / "circuits"


def test_every_circuit_has_one_line(shell: Shell) -> None:
    """The library is what lies in circuits/, each circuit with its title on one line."""
    names = {path.stem for path in CIRCUITS.glob("*.yaml") if not path.name.endswith(".readings.yaml")}
    done = shell("list")
    listed = [line.split()[1] for line in done.out.splitlines()[1:-1]]
    assert set(listed) == names
    assert len(listed) == len(names)


def test_the_easy_ones_come_first(shell: Shell) -> None:
    """Stages, then chains, then boards, and among them by their number of parts."""
    fields = json.loads(shell("list --json").out)["circuits"]
    levels = ["stage", "chain", "board"]
    order = [(levels.index(circuit["level"]), circuit["parts"]) for circuit in fields]
    assert order == sorted(order)
    assert {level for level, _ in order} == {0, 1, 2}


def test_files_of_readings_are_told(shell: Shell) -> None:
    """Each board of the library that has readings of a broken one names their file."""
    fields = json.loads(shell("list --json").out)
    found = {circuit["name"] for circuit in fields["circuits"] if circuit["readings"]}
    assert found == {path.name.removesuffix(".readings.yaml") for path in CIRCUITS.glob("*.readings.yaml")}
    assert all(Path(circuit["file"]).is_file() for circuit in fields["circuits"])


def test_kinds_are_those_of_the_classes(shell: Shell) -> None:
    """`list --parts` names every kind that a circuit file can name."""
    fields = json.loads(shell("list --parts --json").out)
    assert [kind["kind"] for kind in fields["kinds"]] == list(KINDS)
    text = shell("list --parts").out
    assert all(kind in text for kind in KINDS)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_figure_has_a_source(shell: Shell, kind: str) -> None:
    """One kind is told with units, defaults and sources, and no figure lacks its source or standing."""
    (fields,) = json.loads(shell(f"list --parts {kind} --json").out)["kinds"]
    text = shell(f"list --parts {kind}").out
    for figure in (*fields["values"], *fields["modes"], fields["rate"]):
        assert figure["source"]
        assert figure["standing"]
    for value in fields["values"]:
        assert value["name"] in text
        assert value["meaning"].split()[0] in text
    assert "sources" in text


def test_resistor_tells_its_failures(shell: Shell) -> None:
    """Shares of the failure modes of a family add up to one."""
    (fields,) = json.loads(shell("list --parts resistor --json").out)["kinds"]
    assert sum(mode["share"] for mode in fields["modes"]) == pytest.approx(1)
    assert [pin for pin in fields["pins"] if pin not in fields["optional_pins"]] == ["1", "2"]
