"""Words and odd values among readings: limit, hot, pulsing, a slip of the prefix; what is expected beside them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from seqsim.circuit import Circuit
from seqsim.diagnosis import Diagnosis, Ranking
from seqsim.diagnosis.alike import Alike, own_deviation
from seqsim.diagnosis.conditions import Desk
from seqsim.readings import METER, Probe, measurement

Ranked = Callable[..., tuple[Diagnosis, Ranking]]
Ready = Callable[[str], tuple[Circuit, Desk, Alike]]
NAME = "inverting_npn"


def test_a_supply_in_its_limit_is_not_healthy(ranked: Ranked) -> None:
    """A healthy board draws 5 mA of 500 mA: `limit` is high, and what is expected are milliamperes."""
    found = ranked(NAME, "V5 limit")[1]
    (reading,) = found.readings
    assert reading.verdict == "high"
    assert 0 <= reading.healthy_low < 0.005 < reading.healthy_high < 0.02  # type: ignore[operator]
    assert "V5:short to GND" in {fault for each in found.hypotheses[:5] for fault in each.faults}


def test_no_limit_is_what_a_healthy_board_shows(ranked: Ranked) -> None:
    """`no limit` says little on a board that draws a hundredth of it."""
    assert ranked(NAME, "V5 no limit")[1].readings[0].verdict == "as_healthy"


def test_currents_are_foreseen_as_displays_show_them(ready: Ready) -> None:
    """What the bench supply will show of 100 mA is known to milliamperes, not to the volts of a net over a shunt."""
    each = measurement(ready(NAME)[0], Probe(kind="current", place="V5", state="open"))
    sd = own_deviation(each, np.array([float(each.invert(0.1))]))[0] / METER.current.shunt_ohms
    assert 0.001 < sd < 0.01


def test_pulsing_is_explained_by_nothing_that_rests(ranked: Ranked) -> None:
    """A steady board does not pulse: the word counts against it, and nobody calls it high."""
    found = ranked(NAME, "HEAT_EN pulsing", "V5 0.005A @open")[1]
    healthy = next(each for each in found.hypotheses if not each.faults)
    assert healthy.predictions[0].speaks == "against"
    assert "unlike a healthy board" in str(found)


def test_what_is_expected_does_not_hang_on_what_was_read(ranked: Ranked) -> None:
    """700 V at a base is a slip; the meter's error of 700 V is no spread of what a healthy base shows."""
    reading = ranked(NAME, "Q1_BASE 700", "HEAT_EN 0.1")[1].readings[0]
    assert reading.verdict == "high"
    assert reading.healthy_high == pytest.approx(0.71, abs=0.6)
    assert reading.healthy_low is not None
    assert reading.healthy_low > 0
