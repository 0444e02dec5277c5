"""What every kind of reading promises."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.circuit import Circuit
from seqsim.quantity import Unit
from seqsim.readings import KINDS, METER, Condition, Kind, Site, Zone, parse_reading

ALL = list(KINDS.values())


def by_name(kind: Kind) -> str:
    return kind.name


def test_the_kinds_are_those_of_the_bench() -> None:
    """The kinds are collected from their files."""
    assert set(KINDS) == {"continuity", "current", "diode", "hot", "logic", "ohms", "volts"}


def test_no_word_names_two_kinds() -> None:
    """A word of shorthand means one kind only."""
    words = [word for kind in ALL for word in kind.words]
    assert len(words) == len(set(words))
    assert not set(words) & {word for kind in ALL for word in kind.shows}


@pytest.mark.parametrize("kind", ALL, ids=by_name)
def test_its_example_is_a_correct_reading(board: Circuit, kind: Kind) -> None:
    """The form that error messages show is understood, as this kind."""
    place = {Site.NODES: "EN", Site.SUPPLY: "VBAT", Site.PART: "Q1"}[kind.site]
    example = "R1.2 to Q1.B beep" if kind.name == "continuity" else f"{place} {kind.example}"
    expected = "volts" if kind.name == "volts" else kind.name
    if kind.name == "logic":
        example = "EN high"
    assert parse_reading(board, example).kind == expected


@pytest.mark.parametrize("kind", ALL, ids=by_name)
def test_its_words_stand_for_outcomes(kind: Kind) -> None:
    """Every word that it shows is a zone that is not empty, or a condition."""
    for word in set(kind.shows.values()):
        outcome = kind.outcome(METER, word, 2.0)
        assert isinstance(outcome, Condition) or outcome.low < outcome.high


@pytest.mark.parametrize("kind", [kind for kind in ALL if kind.numeric], ids=by_name)
def test_its_display_is_a_function_with_inverse_and_slope(kind: Kind) -> None:
    """`invert` undoes `convert`, and `slope` is its derivative (central differences)."""
    volts = np.array([1e-5, 0.01, 0.1, 0.2, 0.39])
    shown = kind.convert(METER, volts)
    assert kind.invert(METER, shown) == pytest.approx(volts, rel=1e-9)
    step = 1e-7 * volts
    rise = (kind.convert(METER, volts + step) - kind.convert(METER, volts - step)) / (2 * step)
    assert kind.slope(METER, volts) == pytest.approx(rise, rel=1e-5)


def test_the_ends_of_a_resistance_test() -> None:
    """No volts are no ohms, the open voltage is without end, and both invert."""
    ohms = KINDS["ohms"]
    assert ohms.convert(METER, [0.0, METER.ohms.open_volts, 0.5]).tolist() == [0.0, np.inf, np.inf]
    assert ohms.invert(METER, [0.0, np.inf]).tolist() == [0.0, METER.ohms.open_volts]


def test_zones_know_their_edges() -> None:
    """Zones of a sequence of words do not overlap, and share the chance at a blurred edge."""
    low, high = Zone(-np.inf, 0.3, of_largest=True), Zone(0.7, np.inf, of_largest=True)
    assert low.holds([0.0, 0.9, 1.1], largest=3.3).tolist() == [True, True, False]
    assert high.holds([2.2, 2.4, 3.3], largest=3.3).tolist() == [False, True, True]
    silent, beep = Zone(50.0, np.inf, 0.3), Zone(-np.inf, 50.0, 0.3)
    mean, sd = np.array([10.0, 50.0, 70.0]), np.array([1.0, 5.0, 0.0])
    assert silent.probability(mean, sd) + beep.probability(mean, sd) == pytest.approx(np.ones(3))


def test_units_are_those_of_displays() -> None:
    """Ohms and continuity show ohms, current amperes."""
    shown = {kind.name: kind.unit for kind in ALL}
    assert shown["ohms"] is shown["continuity"] is Unit.OHM
    assert shown["current"] is Unit.AMPERE
    assert shown["volts"] is shown["diode"] is Unit.VOLT
