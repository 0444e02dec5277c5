"""Connectors: what each contact carries, which neighbours can be bridged, what is no connector."""

from __future__ import annotations

import pytest
from single_part import NAME, currents, network, part

from seqsim.parts.connector import Connector
from seqsim.parts.part import PartError

PINS = {"1": "A", "1w": "AW", "2": "GND", "3": "B", "3w": "BW"}


@pytest.mark.law("connector")
def test_each_contact_is_a_resistance() -> None:
    """Two contacts of 20 mΩ carry 10 mV / 20 mΩ = 0.5 A and nothing, and nothing flows into the pin without a wire."""
    drawn = currents(part("connector", pins=PINS), {"1": 0.0, "1w": 0.01, "2": 0.0, "3": 3.3, "3w": 3.3})
    assert drawn == pytest.approx({"1": -0.5, "1w": 0.5, "2": 0.0, "3": 0.0, "3w": 0.0})


@pytest.mark.parametrize(
    ("mode", "at", "expected"),
    [
        ("1 open", 1.0, {"1w": 0.0, "3w": 50.0}),
        ("3 corroded", 100.0, {"1w": 50.0, "3w": 0.01}),  # 1 V over 100 Ω
        ("1-2 bridged", 2.0, {"1": -49.5, "2": -0.5}),  # 1 V over 2 Ω besides the contact's 1 V over 20 mΩ
    ],
)
def test_modes_touch_the_contact_that_they_name(mode: str, at: float, expected: dict[str, float]) -> None:
    """An open contact carries nothing, a corroded one has its ohms, a bridge lies beside the contacts."""
    what = part("connector", pins=PINS)
    patches = next(each for each in what.modes() if each.name == mode).patches(at)
    volts = {"1": 1.0, "1w": 2.0, "2": 0.0, "3": 2.0, "3w": 3.0}
    drawn = currents(what, volts, patches=patches)
    for pin, amps in expected.items():
        assert drawn[pin] == pytest.approx(amps), pin


def test_neighbours_follow_the_numbers_or_the_order_that_is_told() -> None:
    """1-2 and 2-3 by number; of 1, 3 and 4 only 3-4 lie side by side; `pin_order` says otherwise; 1 never meets 1w."""
    assert bridges(PINS) == ["1-2 bridged", "2-3 bridged"]
    assert bridges({"1": "A", "1w": "AW", "3": "B", "4": "C"}) == ["3-4 bridged"]
    assert bridges({"2": "B", "1": "A", "3": "C"}, pin_order=("1", "3", "2")) == ["1-3 bridged", "3-2 bridged"]
    assert bridges({"1": "A", "1w": "AW", "2": "A", "2w": "AW"}) == []
    assert part("connector", pins=PINS).neighbours() == ()


def bridges(pins: dict[str, str], **values: object) -> list[str]:
    names = [mode.name for mode in part("connector", pins=pins, **values).modes()]
    return [name for name in names if name.endswith("bridged")]


def test_a_list_numbers_the_board_halves() -> None:
    """Three nets in a list are contacts 1 to 3 without wires: only bridges are left."""
    made = Connector(name=NAME, pins=["A", "B", "C"])
    assert dict(made.pins) == {"1": "A", "2": "B", "3": "C"}
    assert [mode.name for mode in made.modes()] == ["1-2 bridged", "2-3 bridged"]
    assert network(made).owners == ()


@pytest.mark.parametrize(
    ("pins", "words"),
    [
        ({"A": "X", "1": "Y"}, "has the pins 1, 2 and so on"),
        ({"0": "X", "1": "Y"}, "has the pins 1, 2 and so on"),
        ({"1w": "X", "2": "Y"}, "wire half alone"),
        ({"1": "X"}, "needs a contact with both halves"),
        ({"1": "X", "2": "X"}, "needs a contact with both halves"),
    ],
)
def test_what_is_no_connector(pins: dict[str, str], words: str) -> None:
    """Pins are numbers, a wire half needs its board half, and something must be able to fail."""
    with pytest.raises(ValueError, match="error") as caught:
        part("connector", pins=pins)
    cause = caught.value.errors()[0]["ctx"]["error"]  # type: ignore[attr-defined]
    assert isinstance(cause, PartError)
    assert words in str(cause)
