"""A claim that one reading alone bears: measured twice before anything is soldered."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from seqsim.circuit import Circuit
from seqsim.diagnosis import Advice, Ranking, Standing, advise, diagnose, ranking
from seqsim.diagnosis.advice import classes
from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.conditions import Desk
from seqsim.diagnosis.withheld import probability_without
from seqsim.readings import Readings, parse_reading

Ready = Callable[[str], tuple[Circuit, Desk, Alike]]
NAME = "inverting_npn"
ODD = "HEAT_EN 4.9 @open"
REST = ("V5 101k ohm", "V5 5.0 @open", "Q1_BASE 0.69 @open", "Q1.C 0.02 @open", "R1.1 to R1.2 10k ohm")
"""With the odd one Q1's collector joint is open; all else is as on a healthy board."""


def stand(ready: Ready, *texts: str) -> Standing:
    circuit, at, _ = ready(NAME)
    taken = tuple(parse_reading(circuit, text) for text in texts)
    return Standing.of(diagnose(circuit, Readings(readings=taken), at=at), taken)


def told(ready: Ready, *texts: str, steps: int = 5) -> tuple[Advice, Ranking]:
    standing = stand(ready, *texts)
    assert standing.found is not None
    return advise(standing, steps=steps), ranking(standing.found, standing.readings)


def test_one_odd_reading_is_taken_again_before_the_answer(ready: Ready) -> None:
    """One group holds 95 %, but only by one reading: that is asked for again, with the reason and its time."""
    found, _ = told(ready, *REST, ODD)
    assert "Q1.C:joint open" in found.leading[0][1]
    assert found.leading[0][2] >= 0.95
    assert not found.stop
    assert [(step.place, step.kind, step.state, step.again) for step in found.next] == [
        ("HEAT_EN", "volts", "open", "bears_alone")
    ]
    assert found.next[0].seconds > 0
    assert found.next[0].caution


def test_repeated_alike_it_is_found(ready: Ready) -> None:
    """The same once more within the meter's error: the answer stands, surer than before, and nothing is asked."""
    before, _ = told(ready, *REST, ODD)
    found, ranked = told(ready, *REST, ODD, "HEAT_EN 4.91 @open")
    assert found.stop in ("found", "look_alikes")
    assert "Q1.C:joint open" in found.leading[0][1]
    assert found.leading[0][2] > before.leading[0][2]
    assert not found.next
    assert ranked.read_again == ()


def test_repeated_otherwise_it_is_told(ready: Ready) -> None:
    """Something else the second time: the answer falls, the contradiction is told, a third time is on offer."""
    found, ranked = told(ready, *REST, ODD, "HEAT_EN 0.03 @open", steps=20)
    assert not found.stop
    assert "Q1.C:joint open" not in found.leading[0][1]
    assert [each.verdict for each in ranked.readings[-2:]] == ["contradicts_another"] * 2
    assert ("HEAT_EN", "contradicted") in {(step.place, step.again) for step in found.next}
    assert {each.place for each in ranked.read_again} == {"HEAT_EN"}


@pytest.mark.parametrize(("third", "stands"), [("HEAT_EN 4.9 @open", True), ("HEAT_EN 0.03 @open", False)])
def test_the_third_time_decides(ready: Ready, third: str, stands: bool) -> None:  # noqa: FBT001
    """Two against one: the answer is that of the two, and that place is asked for no more."""
    found, _ = told(ready, *REST, ODD, "HEAT_EN 0.03 @open", third)
    assert (found.stop in ("found", "look_alikes")) == stands
    assert ("Q1.C:joint open" in found.leading[0][1]) == stands
    assert all((step.place, step.state) != ("HEAT_EN", "open") for step in found.next)


def test_what_two_readings_bear_is_found_at_once(ready: Ready) -> None:
    """The pad under the joint shows it too: neither reading is needed, and none is repeated."""
    found, _ = told(ready, *REST, ODD, "Q1.C/pad 4.9 @open")
    assert found.stop in ("found", "look_alikes")
    assert "Q1.C:joint open" in found.leading[0][1]


@pytest.mark.parametrize(
    "texts",
    [
        (*REST, ODD),
        ("V5 101k ohm", "HEAT_EN 0.030 @open", "DOOR_OPEN 0.92 @open", "R1.1 to R1.2 0.2 ohm", "Q1_BASE 0.76 @open"),
        ("V5 101k ohm", "HEAT_EN high @open", "R1.1 to R1.2 ohms OL"),
        ("V5 101k ohm", "HEAT_EN 4.9 @open", "R1.1 to R1.2 ohms OL", "HEAT_EN 0.03 @shut"),
    ],
)
def test_leaving_a_reading_out_is_a_diagnosis_without_it(ready: Ready, texts: tuple[str, ...]) -> None:
    """What is left of the leading class is what diagnoses of the others say, words and a slip among them included.

    They come close, not to the digit: fewer readings begin other cells, and none are solved again where they point.
    """
    standing = stand(ready, *texts)
    assert standing.found is not None
    apart = classes(standing)
    leads = apart.of == int(np.argmax(apart.probability))
    mine = {h.name for h, own in zip(standing.hypotheses, leads, strict=True) if own}
    left = []
    for k in range(len(texts)):
        rest = stand(ready, *texts[:k], *texts[k + 1 :])
        named = np.array([h.name in mine for h in rest.hypotheses])
        left.append(float(rest.probability[named].sum() / rest.probability.sum()))
    assert (probability_without(standing.found) @ leads).tolist() == pytest.approx(left, abs=0.1)
