"""Readings with a slip of the prefix: the answer tells what may have been meant."""

from __future__ import annotations

import pytest

import seqsim

NPN = "inverting_npn"
GOOD = ("HEAT_EN 4.95 @shut", "HEAT_EN 0.08 @open", "Q1.B 0.69 @open", "DOOR_OPEN 3.03 @open")


@pytest.mark.parametrize(
    ("slip", "place", "hint"),
    [
        ("V5 5.00mV @shut", "V5", "you may have meant 5 V"),
        ("R1.1 to R1.2 10 ohm", "R1.1", "you may have meant 10 kΩ"),
    ],
)
def test_a_slip_of_the_prefix_is_told(slip: str, place: str, hint: str) -> None:
    """Millivolts for volts, no prefix for kilohms: asked for again, with the value that would fit."""
    found = seqsim.load(NPN).rank([*GOOD, slip])
    again = next(each for each in found.read_again if each.place == place)
    assert again.meant == hint
    assert hint in str(found)
    assert found.hypotheses[0].faults == ()


@pytest.mark.parametrize(
    ("slip", "place", "hint"),
    [
        # what is read at the net beside it, by a pin and by the net's name
        ("Q1.B 0.08 @open", "Q1.B", "it reads like Q1.C: the tip may have been on the next pin"),
        ("HEAT_EN 0.69 @open", "HEAT_EN", "it reads like Q1.B: the tip may have been on the next pin"),
    ],
)
def test_a_tip_on_the_next_pin_is_told(slip: str, place: str, hint: str) -> None:
    """A reading that fits badly where it is named and well at a neighbouring pin is asked for again, with that pin."""
    good = [text for text in GOOD if slip.split(maxsplit=1)[0] not in text or "@shut" in text]
    found = seqsim.load(NPN).rank([*good, "Q1.C 0.08 @open" if place == "Q1.B" else "V5 5 @open", slip])
    again = next(each for each in found.read_again if each.place == place)
    assert again.meant == hint
    assert f"{place}: {hint}" in str(found)


def test_a_value_that_no_prefix_mends_has_no_hint() -> None:
    """2.2 V where 5 V should be is asked for again, and nothing is guessed."""
    found = seqsim.load(NPN).rank([*GOOD, "V5 2.2 @shut"])
    assert [each.meant for each in found.read_again] == [""]


def test_healthy_readings_ask_for_nothing() -> None:
    """Readings that fit are not doubted."""
    assert seqsim.load(NPN).rank(list(GOOD)).read_again == ()
