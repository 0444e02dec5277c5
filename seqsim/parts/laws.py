"""Device laws as chords: straight pieces between points near the exact law.

A law ``volts(amps)`` of a junction or of a square law is concave, so chords between points on it always read low.
Each vertex is therefore raised by half of what its chords would miss: the law then runs through the middle of the
band that the chords leave, and the largest error is halved. A coarse last chord, for overload, leaves the one before as
it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

THERMAL_VOLTS = 0.025865
"""kT/q at 27 °C, the nominal temperature of SPICE (CODATA: k/q = 86.17 µV/K)."""

JUNCTION_ANCHORS = (1e-7, 3e-6, 8e-5, 4e-3, 0.2)
"""Currents (A) between which the chords of a small junction run, from what a meter of 10 MΩ draws upwards."""

OVERDRIVEN = 20.0
"""The largest current of a junction's chords as a multiple of its last anchor: our judgement, a pin shorted to a
rail."""

OVERDRIVE_ANCHORS = (0.0, 0.2, 0.65, 2.0, 5.0)
"""Overdrives (V) between which the chords of a square law run."""


@dataclass(frozen=True, slots=True)
class Chord:
    """One hinge of a law: it adds ``conductance`` (S) above ``threshold`` (V)."""

    conductance: float
    threshold: float


def chords(volts: Sequence[float], amps: Sequence[float]) -> tuple[Chord, ...]:
    """Return the hinges whose sum runs through the given points (at least two, rising).

    The first piece is prolonged down to zero current, the last one upwards.
    """
    slopes = [(i1 - i0) / (v1 - v0) for (v0, v1), (i0, i1) in zip(pairwise(volts), pairwise(amps), strict=True)]
    first = Chord(slopes[0], volts[0] - amps[0] / slopes[0])
    rest = [Chord(after - before, at) for (before, after), at in zip(pairwise(slopes), volts[1:-1], strict=True)]
    return (first, *rest)


def balanced(
    law: Callable[[float], float], touching: Callable[[float], float], anchors: Sequence[float]
) -> tuple[Chord, ...]:
    """Return chords of a concave law between the anchor currents (A), raised until the law lies in their middle.

    ``law`` gives volts at a current, ``touching`` the current at which the law has a given slope (Ω).
    """
    missed = []
    for low, high in pairwise(anchors):
        slope = (law(high) - law(low)) / (high - low)
        at = touching(slope)
        missed.append(law(at) - law(low) - slope * (at - low))
    *others, last = missed
    told = min([last, *others[-1:]])
    raised = [(before + after) / 4 for before, after in pairwise([missed[0], *others, told])] + [last / 2]
    return chords([law(at) + more for at, more in zip(anchors, raised, strict=True)], anchors)


def junction_volts(amps: float, saturation_amps: float, emission: float = 1.0, series_ohms: float = 0.0) -> float:
    """Return the forward voltage of a junction (Shockley's law with a series resistance)."""
    return emission * THERMAL_VOLTS * math.log1p(amps / saturation_amps) + amps * series_ohms


def junction_anchors(amps: float) -> tuple[float, ...]:
    """Return the currents (A) between which the chords of a junction run that is rated for ``amps``.

    Small parts keep the usual ones up to their rated current; a power part has them moved up together.
    """
    *lower, top = JUNCTION_ANCHORS
    return (*lower, max(amps, 5 * lower[-1])) if amps < top else tuple(at * amps / top for at in JUNCTION_ANCHORS)


def overdriven(anchors: Sequence[float]) -> tuple[float, ...]:
    """Return the anchors of a junction with one more beyond the last, for what a short drives through it."""
    return (*anchors, OVERDRIVEN * anchors[-1])


def junction_roles(label: str) -> tuple[str, ...]:
    """Return the roles of the chords of a junction, the last for overload: ``label 1``, ``label 2`` and so on."""
    return tuple(f"{label} {k}" for k in range(1, len(JUNCTION_ANCHORS) + 1))


def junction_chords(
    saturation_amps: float,
    emission: float = 1.0,
    series_ohms: float = 0.0,
    anchors: Sequence[float] = JUNCTION_ANCHORS,
) -> tuple[Chord, ...]:
    """Return the chords of a junction between the anchor currents (A)."""

    def law(amps: float) -> float:
        return junction_volts(amps, saturation_amps, emission, series_ohms)

    def touching(slope: float) -> float:
        return emission * THERMAL_VOLTS / (slope - series_ohms) - saturation_amps

    return balanced(law, touching, anchors)


def saturation_for(volts: float, amps: float, emission: float = 1.0, series_ohms: float = 0.0) -> float:
    """Return the saturation current (A) of a junction that drops ``volts`` at ``amps``."""
    return amps / math.expm1((volts - amps * series_ohms) / (emission * THERMAL_VOLTS))


def square_chords(
    transconductance: float, threshold: float, anchors: Sequence[float] = OVERDRIVE_ANCHORS
) -> tuple[Chord, ...]:
    """Return the chords of ``(K/2)(v - threshold)²`` between the anchor overdrives (V); K in A/V²."""

    def law(amps: float) -> float:
        return threshold + math.sqrt(2 * amps / transconductance)

    def touching(slope: float) -> float:
        return 1 / (2 * transconductance * slope**2)

    return balanced(law, touching, [transconductance / 2 * over**2 for over in anchors])


def volts_at(pieces: Sequence[Chord], amps: float) -> float:
    """Return the voltage at which chords carry a current (A) above zero."""
    slope, volts, carried = 0.0, pieces[0].threshold, 0.0
    for piece in pieces:
        more = slope * (piece.threshold - volts)
        if carried + more >= amps:
            break
        slope, volts, carried = slope + piece.conductance, piece.threshold, carried + more
    return volts + (amps - carried) / slope
