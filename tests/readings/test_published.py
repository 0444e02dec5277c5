"""Published facts on meters, each with its source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from seqsim.circuit import compile_network, parse_circuit, state_gates
from seqsim.readings import KINDS, METER, measurement, parse_accuracy, parse_reading
from seqsim.readings.meter import Volts
from seqsim.solver import solve

DIVIDER = """
format: 1
supplies: {{V5: {{volts: 5, ohms: 1m}}}}
power_states: {{on: {{on: [V5]}}}}
parts:
  R1: {{kind: resistor, ohms: {ohms}, pins: [V5, MID]}}
  R2: {{kind: resistor, ohms: {ohms}, pins: [MID, GND]}}
"""


@pytest.mark.parametrize(("ohms", "published"), [("10k", 2.4988), ("100k", 2.4876), ("1M", 2.381)])
def test_a_ten_megohm_meter_loads_an_equal_divider(ohms: str, published: float) -> None:
    """5 V over two equal resistors: closed form V·(R ∥ 10 MΩ)/(R + R ∥ 10 MΩ), recomputed to the printed digits.

    Source of the 10 MΩ: common specification of hand-held meters (from memory, not checked against the text).
    """
    board = parse_circuit(DIVIDER.format(ohms=ohms))
    made = measurement(board, parse_reading(board, f"MID {published}"))
    levels = solve(compile_network(board), made.patches, state_gates(board, made.state))
    shown = float(made.convert(levels.at(made.plus) - levels.at(made.minus)))
    value = {"10k": 1e4, "100k": 1e5, "1M": 1e6}[ohms]
    lower = 1 / (1 / value + 1 / 10e6)
    # the shunt of 1 nS on each node shifts the divider of megohms by 1.2 mV at most
    assert shown == pytest.approx(5 * lower / (value + lower), abs=1.5e-3)
    assert shown == pytest.approx(published, abs=1.5e-3)


def test_the_bound_of_a_reading_of_1_396_volts() -> None:
    """±(0.8 % + 5) at 1.396 V is ±0.016 V: the worked example in the manual of the YT-73081 meter."""
    volts = Volts(accuracy=(parse_accuracy("±(0.8 % + 5)"),))
    assert float(volts.bound(1.396)) == pytest.approx(0.016, abs=5e-4)
    # as one Gaussian, the bound taken as uniform: the gain and the digits each by √3
    own = math.hypot(1.396 * float(volts.gain_sd(1.396)), float(volts.digit_sd(1.396)))
    assert own == pytest.approx(math.hypot(0.008 * 1.396, 0.005) / math.sqrt(3), rel=1e-9)


def test_ohms_diode_and_beeper_stand_as_specified() -> None:
    """±(0.8 % + 2) on ohms and at most 1.5 mA in the diode test: M-1000D; 1 mA, beeper below 50 Ω: PeakTech 1080."""
    assert METER.ohms.accuracy == (parse_accuracy("0.8% + 2"),)
    assert METER.diode.test_amps <= 1.5e-3
    assert METER.diode.test_amps == pytest.approx(1e-3)
    assert METER.continuity.beeps_below == pytest.approx(50)


def test_a_beep_does_not_mean_zero_ohms() -> None:
    """Published thresholds run from 30 to 100 Ω, so 20 Ω nearly always beeps, 200 Ω nearly never."""
    beep = KINDS["continuity"].outcome(METER, "beep", None)
    chance = beep.probability([1.0, 20.0, 50.0, 200.0], np.zeros(4))  # type: ignore[union-attr]
    assert chance[0] > 0.999
    assert chance[1] > 0.97
    assert chance[2] == pytest.approx(0.5)
    assert chance[3] < 1e-6


def test_cautions_name_the_published_limits() -> None:
    """60 V dc and 30 V rms are the limits of hazardous live parts (scope of IEC 61010-031); codes come first."""
    for kind in KINDS.values():
        assert "local codes and licensed practice come first" in kind.caution
        assert ("60 V dc or 30 V rms" in kind.caution) == kind.live
        assert ("stored charge" in kind.caution) == (not kind.live)
