"""Chords against the laws that they stand for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqsim.parts.laws import (
    JUNCTION_ANCHORS,
    OVERDRIVE_ANCHORS,
    THERMAL_VOLTS,
    Chord,
    chords,
    junction_anchors,
    junction_chords,
    junction_volts,
    saturation_for,
    square_chords,
    volts_at,
)

saturation = st.floats(-16, -6).map(lambda exponent: 10.0**exponent)
emission = st.floats(1.0, 3.0)
series = st.floats(0.0, 10.0)


def carried(pieces: tuple[Chord, ...], volts: float) -> float:
    return sum(piece.conductance * max(volts - piece.threshold, 0.0) for piece in pieces)


def test_thermal_voltage_is_that_of_27_degrees() -> None:
    """k·T/q at 300.15 K with the exact constants of the SI (k = 1.380649e-23 J/K, q = 1.602176634e-19 C)."""
    assert pytest.approx(1.380649e-23 * 300.15 / 1.602176634e-19, rel=1e-4) == THERMAL_VOLTS


def test_chords_run_through_their_points() -> None:
    """Hinges through given points carry the given currents there."""
    volts, amps = [0.4, 0.5, 0.6, 0.8], [1e-6, 1e-4, 5e-3, 0.3]
    pieces = chords(volts, amps)
    assert [carried(pieces, at) for at in volts] == pytest.approx(amps, rel=1e-9)


@given(saturation, emission, series)
def test_junction_chords_stay_near_the_law(is_: float, n: float, ohms: float) -> None:
    """Between the anchors the chords miss Shockley's law by at most one thermal voltage on each side.

    A chord over a factor of 50 in current misses a logarithm by 1.6 at most; half of it is left on each side.
    """
    pieces = junction_chords(is_, n, ohms)
    for amps in np.geomspace(JUNCTION_ANCHORS[0], JUNCTION_ANCHORS[-1], 60):
        missed = volts_at(pieces, float(amps)) - junction_volts(float(amps), is_, n, ohms)
        assert abs(missed) < n * THERMAL_VOLTS


@given(saturation, emission, series)
def test_the_law_runs_through_the_middle_of_its_chords(is_: float, n: float, ohms: float) -> None:
    """Chords read high at their ends and low between them, in nearly equal measure."""
    pieces = junction_chords(is_, n, ohms)
    at = np.geomspace(JUNCTION_ANCHORS[0], JUNCTION_ANCHORS[-1], 400)
    missed = [volts_at(pieces, float(amps)) - junction_volts(float(amps), is_, n, ohms) for amps in at]
    assert max(missed) > 0 > min(missed)
    assert 0.6 < -max(missed) / min(missed) < 1.6


@given(st.floats(1e-3, 100.0), st.floats(0.2, 4.0))
def test_square_chords_stay_near_the_law(k: float, threshold: float) -> None:
    """Between the anchors the chords miss the square law by at most 0.25 V of gate voltage on each side."""
    pieces = square_chords(k, threshold)
    for over in np.linspace(0.02, OVERDRIVE_ANCHORS[-1], 60):
        missed = volts_at(pieces, float(k / 2 * over**2)) - (threshold + over)
        assert abs(missed) < 0.25


@given(saturation, emission, series, st.floats(1e-5, 0.2))
def test_every_chord_conducts(is_: float, n: float, ohms: float, amps: float) -> None:
    """Conductances are positive and thresholds rise, so a junction never gives energy."""
    pieces = junction_chords(is_, n, ohms, junction_anchors(amps))
    assert all(piece.conductance > 0 for piece in pieces)
    assert [piece.threshold for piece in pieces] == sorted(piece.threshold for piece in pieces)
    assert carried(pieces, volts_at(pieces, amps)) == pytest.approx(amps, rel=1e-6)


@given(st.floats(0.1, 3.0), st.floats(1e-4, 10.0), emission)
def test_a_saturation_current_gives_its_voltage_back(volts: float, amps: float, n: float) -> None:
    """The saturation current found for a voltage reproduces that voltage."""
    assert junction_volts(amps, saturation_for(volts, amps, n), n) == pytest.approx(volts, rel=1e-9)


def test_power_parts_have_their_anchors_moved_up() -> None:
    """The last anchor is the rated current; small parts keep the usual anchors below it."""
    assert junction_anchors(4.0)[-1] == pytest.approx(4.0)
    assert junction_anchors(4.0)[0] == pytest.approx(20 * JUNCTION_ANCHORS[0])
    assert junction_anchors(0.02) == (*JUNCTION_ANCHORS[:-1], 0.02)
    assert math.isclose(junction_anchors(JUNCTION_ANCHORS[-1])[-1], JUNCTION_ANCHORS[-1])
