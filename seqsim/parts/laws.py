"""Device laws as chords: straight pieces between points of the exact law."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

THERMAL_VOLTS = 0.025865
"""kT/q at 27 °C, the nominal temperature of SPICE (CODATA: k/q = 86.17 µV/K)."""

JUNCTION_ANCHORS = (1e-6, 30e-6, 2e-3, 0.2)
"""Currents (A) at which the chords of a junction touch its law."""

OVERDRIVE_ANCHORS = (0.0, 0.6, 2.0, 5.0)
"""Overdrives (V) at which the chords of a square law touch it."""


@dataclass(frozen=True, slots=True)
class Chord:
    """One hinge of a law: it adds ``conductance`` (S) above ``threshold`` (V)."""

    conductance: float
    threshold: float


def chords(volts: Sequence[float], amps: Sequence[float]) -> tuple[Chord, ...]:
    """Return the hinges whose sum runs through the given points (at least two, rising).

    The first piece is prolonged down to zero current, the last one upwards.
    """
    slopes = [(i1 - i0) / (v1 - v0) for v0, v1, i0, i1 in zip(volts, volts[1:], amps, amps[1:], strict=False)]
    first = Chord(slopes[0], volts[0] - amps[0] / slopes[0])
    rest = [Chord(after - before, at) for before, after, at in zip(slopes, slopes[1:], volts[1:-1], strict=False)]
    return (first, *rest)


def junction_volts(amps: float, saturation_amps: float, emission: float = 1.0, series_ohms: float = 0.0) -> float:
    """Return the forward voltage of a junction (Shockley's law with a series resistance)."""
    return emission * THERMAL_VOLTS * math.log1p(amps / saturation_amps) + amps * series_ohms


def junction_chords(
    saturation_amps: float,
    emission: float = 1.0,
    series_ohms: float = 0.0,
    anchors: Sequence[float] = JUNCTION_ANCHORS,
) -> tuple[Chord, ...]:
    """Return the chords of a junction through its law at the anchor currents (A)."""
    volts = [junction_volts(amps, saturation_amps, emission, series_ohms) for amps in anchors]
    return chords(volts, anchors)


def square_chords(
    transconductance: float, threshold: float, anchors: Sequence[float] = OVERDRIVE_ANCHORS
) -> tuple[Chord, ...]:
    """Return the chords of ``(K/2)(v - threshold)²`` at the anchor overdrives (V); K in A/V²."""
    return chords([threshold + over for over in anchors], [transconductance / 2 * over**2 for over in anchors])
