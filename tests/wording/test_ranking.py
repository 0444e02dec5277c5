"""The words of a ranking, made from its documented fields alone."""

from __future__ import annotations

from typing import Any

import pytest

from seqsim.wording.ranking import ranking_text
from seqsim.wording.result import to_text


def fields(**changed: Any) -> dict[str, Any]:
    """Fields of a small invented ranking."""
    return {
        "schema": 1,
        "circuit": "pond_pump",
        "where": [
            {"place": "Q1", "places": ["Q1", "EN"], "group": 3, "probability": 0.93},
            {"place": "R7", "places": ["R7"], "group": 5, "probability": 0.05},
        ],
        "read_again": [],
        "readings": [
            {
                "place": "EN",
                "kind": "volts",
                "state": "on",
                "value": 0.021,
                "unit": "V",
                "healthy_low": 4.4,
                "healthy_high": 4.6,
                "verdict": "low",
            },
            {
                "place": "VIA1",
                "kind": "continuity",
                "state": "off",
                "value": "OL",
                "unit": "Ω",
                "healthy_low": 0.0,
                "healthy_high": 1.0,
                "verdict": "high",
            },
        ],
        "hypotheses": [
            {
                "faults": ["Q1:C-E short"],
                "place": "Q1",
                "probability": 0.88,
                "group": 3,
                "stated": True,
                "group_size": 2,
                "readings_explained": 2,
                "readings_total": 2,
                "confirm": "measure Q1.C to Q1.E with power off: it reads a few ohms",
                "repair": "replace Q1",
                "caution": "Disconnect every supply.",
                "predictions": [
                    {"predicted": 0.02, "low": 0.01, "high": 0.04, "speaks": "for"},
                    {"predicted": "OL", "low": None, "high": None, "speaks": "against"},
                ],
            },
            {
                "faults": [],
                "place": None,
                "probability": 0.1,
                "group": 0,
                "stated": True,
                "group_size": 1,
                "readings_explained": 1,
                "readings_total": 2,
                "confirm": "",
                "repair": "",
                "caution": "",
            },
        ],
        "none_of_these": 0.02,
        "next": [],
        "cautions": ["Local codes come first."],
    } | changed


def said(**changed: Any) -> str:
    return to_text(ranking_text(fields(**changed)), width=200)


def test_where_and_what_come_first() -> None:
    """The first two lines say where and what, each with its probability."""
    where, what, *_ = said().splitlines()
    assert where.split()[:4] == ["where", "Q1", "93", "%"]
    assert "R7" in where
    assert what.split()[:5] == ["what", "Q1:C-E", "short", "88", "%"]


def test_a_sure_mechanism_asks_for_its_check() -> None:
    """Above 80 % a mechanism is not stated before its check with power off was made: no figure, but the check."""
    bold = fields()["hypotheses"]
    bold[0] = bold[0] | {"stated": False}
    text = said(hypotheses=bold)
    assert "88 %" not in text
    assert "likeliest, not checked yet" in text.splitlines()[1]
    assert "before it is stated or anything replaced: " in text.splitlines()[1]
    bold[0] = bold[0] | {"probability": 0.6, "stated": True}
    assert "before it is stated" not in said(hypotheses=bold).splitlines()[1]


def test_look_alikes_are_counted() -> None:
    """Those that are still in the running are told where the answer is; what a reading told apart is not."""
    best, healthy = fields()["hypotheses"]
    for left, probability in ((True, 0.05), (False, 1e-5)):
        twin = best | {"faults": ["R3:short"], "place": "R3", "probability": probability}
        what = said(hypotheses=[best, twin, healthy]).splitlines()[1]
        assert ("1 look-alike that no reading so far tells from it: R3:short" in what) == left
    assert "one of 2 look-alikes (group 3)" in said()


def test_what_was_done_for_a_reading_stands_beside_it() -> None:
    """A rail read twice, the second time with a part lifted, is not read twice the same way."""
    bold = fields()["readings"]
    assert "EN, with C2.1 lifted" in said(readings=[bold[0] | {"with": ["C2.1 lifted"]}, bold[1]])


def test_each_hypothesis_has_its_reasons() -> None:
    """What was read stands beside what is predicted, and whether that speaks for or against; then check and repair."""
    text = said()
    (line,) = [row for row in text.splitlines() if "predicted 20.0 mV" in row]
    assert "read 21.0 mV" in line
    assert line.endswith("for")
    assert any(row.endswith("against") for row in text.splitlines())
    for sentence in ("it reads a few ohms", "replace Q1", "Disconnect every supply.", "Local codes come first."):
        assert sentence in text


def test_readings_that_say_little_are_counted_further_down() -> None:
    """The first hypothesis shows every reading; the others only those that speak, and how many do not."""
    first, second = fields()["hypotheses"]
    neutral = {"predicted": 4.5, "low": 4.4, "high": 4.6, "speaks": "neutral"}
    against = {"predicted": 0.5, "low": 0.0, "high": 1.0, "speaks": "against"}
    text = said(hypotheses=[first, second | {"predictions": [neutral, against]}])
    assert "1 reading says little" in text
    assert "predicted 4.500 V" not in text
    assert "predicted 500 mΩ" in text
    assert "predicted 4.500 V" in said(hypotheses=[first | {"predictions": [neutral, against]}])


def test_none_of_these_leads_when_it_is_likeliest() -> None:
    """If nothing in the list explains the readings, the answer says so in the second line."""
    weak = [hypothesis | {"probability": 0.02} for hypothesis in fields()["hypotheses"]]
    assert "none of the faults" in said(hypotheses=weak, none_of_these=0.96).splitlines()[1]


def test_a_slip_is_asked_for_again() -> None:
    """A reading that is likely a slip is asked for again, with the caution of that reading."""
    again = [{"place": "EN", "kind": "volts", "state": "on", "caution": "Keep to one hand."}]
    text = said(read_again=again)
    assert "read again" in text
    assert "Keep to one hand." in text


@pytest.mark.parametrize(
    ("probability", "shown"), [(0.9999, "> 99 %"), (0.5, "50 %"), (0.012, "1.2 %"), (0.0001, "< 0.1 %")]
)
def test_probabilities_never_claim_certainty(probability: float, shown: str) -> None:
    """Neither 0 % nor 100 % is ever printed."""
    where = [{"place": "Q1", "places": ["Q1"], "group": 3, "probability": probability}]
    assert shown in said(where=where).splitlines()[0]
