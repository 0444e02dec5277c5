"""`seqsim rank`: the main job from the shell."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import seqsim

Shell = Callable[[str], Any]

RANK_FIELDS = {"schema", "circuit", "where", "read_again", "readings", "hypotheses", "none_of_these", "next"}
WHERE_FIELDS = {"place", "places", "group", "probability"}
READING_FIELDS = {"place", "kind", "state", "value", "unit", "healthy_low", "healthy_high", "verdict"}
HYPOTHESIS_FIELDS = {
    "faults", "place", "probability", "group", "group_size", "readings_explained", "readings_total", "confirm",
    "repair", "caution",
}  # fmt: skip
VERDICTS = {"as_healthy", "low", "high", "contradicts_another", "no_prediction"}

BROKEN = ["MID 9.98", "R1.2 9.98"]
"""What a meter shows on the divider with R2 open: 10 V through 10 kΩ into a meter of 10 MΩ is 9.99 V."""


def options(readings: list[str]) -> str:
    return " ".join(f"--read '{reading}'" for reading in readings)


def test_documented_fields(shell: Shell, divider: Path) -> None:
    """The fields are those that programs rely on; hypotheses and none of these add up to one."""
    done = shell(f"rank {divider} {options(BROKEN)} --json")
    assert done.code == 0
    fields = json.loads(done.out)
    assert fields.keys() >= RANK_FIELDS
    assert (fields["schema"], fields["circuit"], fields["next"]) == (1, str(divider), [])
    assert all(where.keys() >= WHERE_FIELDS for where in fields["where"])
    assert all(reading.keys() >= READING_FIELDS for reading in fields["readings"])
    assert all(hypothesis.keys() >= HYPOTHESIS_FIELDS for hypothesis in fields["hypotheses"])
    assert {reading["verdict"] for reading in fields["readings"]} <= VERDICTS
    total = sum(hypothesis["probability"] for hypothesis in fields["hypotheses"]) + fields["none_of_these"]
    assert total == pytest.approx(1)
    ranks = [hypothesis["probability"] for hypothesis in fields["hypotheses"]]
    assert ranks == sorted(ranks, reverse=True)


def test_open_resistor_is_found(shell: Shell, divider: Path) -> None:
    """With the middle at the supply, R2 carries nothing: it or one of its joints comes first, and it says why."""
    fields = json.loads(shell(f"rank {divider} {options(BROKEN)} --json").out)
    best = fields["hypotheses"][0]
    assert best["faults"][0] in {"R2:open", "R2.1:joint open", "R2.2:joint open", "R2:missing", "R2:high"}
    assert "R2" in fields["where"][0]["places"] or fields["where"][0]["place"] == "R2"
    assert (best["readings_explained"], best["readings_total"]) == (2, 2)
    assert best["confirm"]
    assert best["repair"]
    assert [reading["verdict"] for reading in fields["readings"]] == ["high", "high"]


def test_healthy_board(shell: Shell, divider: Path) -> None:
    """A board that reads as it should is most likely healthy, and no fault is advised to be repaired above that."""
    fields = json.loads(shell(f"rank {divider} --read 'MID 5.00' --json").out)
    healthy = next(h for h in fields["hypotheses"] if h["faults"] == [])
    assert healthy["probability"] > 10 * 0.05 / len(fields["hypotheses"])
    assert fields["readings"][0]["verdict"] == "as_healthy"


def test_text_begins_with_where_and_what(shell: Shell, divider: Path) -> None:
    """Where and what on the first two lines; then readings, reasons, checks, repairs and the cautions."""
    text = shell(f"rank {divider} {options(BROKEN)}").out
    where, what = text.splitlines()[:2]
    assert where.startswith("where")
    assert what.startswith("what")
    assert "R2" in where + what
    for word in ("confirm", "repair", "caution", "predicted", "none of these", "before you probe or repair"):
        assert word in text
    for caution in ("Local codes", "mains", "Capacitors keep their charge", "category"):
        assert caution in text


def test_file_and_options_together(shell: Shell, divider: Path, tmp_path: Path) -> None:
    """Readings of a file and of the options count alike; YAML and CSV say the same."""
    listed = tmp_path / "seen.yaml"
    listed.write_text('format: 1\nreadings: ["MID 9.98"]\n', encoding="utf-8")
    table = tmp_path / "seen.csv"
    table.write_text("place,kind,value\nMID,volts,9.98\n", encoding="utf-8")
    both = [json.loads(shell(f"rank {divider} {path} --read 'R1.2 9.98' --json").out) for path in (listed, table)]
    by_options = json.loads(shell(f"rank {divider} {options(BROKEN)} --json").out)
    for fields in both:
        assert fields["hypotheses"] == by_options["hypotheses"]


def test_readings_beside_a_library_board(shell: Shell, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The bare name of a file of readings is found beside the circuit, from any folder."""
    monkeypatch.chdir(tmp_path)
    done = shell("rank greenhouse_fan greenhouse_fan.readings.yaml --json")
    assert (done.code, done.err.count("Traceback")) == (0, 0)
    assert json.loads(done.out)["where"][0]["probability"] > 0.5


def test_python_says_the_same(divider: Path) -> None:
    """`Board.rank` takes shorthand, and prints and serialises as the shell does."""
    ranking = seqsim.load(divider).rank(BROKEN)
    assert str(ranking).startswith("where")
    assert json.loads(ranking.to_json()) == ranking.to_dict()
    assert ranking.to_dict()["hypotheses"][0]["faults"] == list(ranking.hypotheses[0].faults)


def test_without_readings(shell: Shell, divider: Path, tmp_path: Path) -> None:
    """Without any reading there is nothing to rank by: bad input, which says how to give one."""
    empty = tmp_path / "empty.csv"
    empty.write_text("place,kind,value\n", encoding="utf-8")
    for line in (f"rank {divider}", f"rank {divider} {empty}"):
        done = shell(line)
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert "EN" in done.err
        assert "0.02" in done.err
