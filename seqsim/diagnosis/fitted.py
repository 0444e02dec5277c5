"""The likelihood of cells, the likeliest first and as far down as they can matter.

Straight lines are dear, and most cells lie far off: those are left out once many in a row were.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from seqsim.diagnosis.cells import Cell, Scored, score
from seqsim.diagnosis.reference import Calibration
from seqsim.diagnosis.spread import Noise, followed
from seqsim.diagnosis.steep import Spread, believed
from seqsim.network.network import Floats
from seqsim.readings.measurement import Measurement

AT_ONCE = 200
"""Cells that get their lines together."""
FAR = 30.0
"""Cells whose weighed likelihood lies below e^-30 of the best are let go, but for the best of each branch: with many
readings each takes much room. If so many together all do, those that are likely less get no lines."""


def fitted(
    cells: Sequence[Cell],
    lines: Callable[[Sequence[Cell]], Sequence[Spread]],
    measurements: Sequence[Measurement],
    noise: Noise,
    slip: Floats,
    largest: Floats,
    known: Calibration | None,
) -> tuple[list[Spread], list[Scored]]:
    """Return the cells that matter with their moves as nothing but the drawing tells them, and their fits.

    They come in the order of branches.

    Parameters
    ----------
    cells
        The likeliest first.
    lines
        Returns cells with their moves; at a switching point, several for one.
    known
        What else is known of the latents.
    """
    found: list[tuple[float, Spread, Scored]] = []
    best, best_of = -np.inf, dict[int, float]()

    def matters(value: float, branch: int) -> bool:
        return value >= min(best - FAR, best_of[branch])

    for low in range(0, len(cells), AT_ONCE):
        drawn = list(lines(cells[low : low + AT_ONCE]))
        if not drawn:
            continue
        lean = followed(measurements, drawn[0].moves.shape[1])
        drawn = [each.beside(lean) for each in drawn]
        spread = drawn if known is None else [known.applied(each) for each in drawn]
        moves = [believed(each.moves, noise.span) for each in spread]
        fits = score([each.cell for each in spread], moves, measurements, noise, slip, largest)
        values = [each.log + math.log(each.cell.weight) for each in fits]
        far = max(values) < best - FAR
        best = max(best, *values)
        for value, each in zip(values, drawn, strict=True):
            best_of[each.cell.branch] = max(value, best_of.get(each.cell.branch, -np.inf))
        found += [  # copies: what is let go must not be held by what stays
            (value, replace(each, moves=each.moves.copy()), replace(fit, covariance=fit.covariance.copy()))
            for value, each, fit in zip(values, drawn, fits, strict=True)
            if matters(value, each.cell.branch)
        ]
        if far:
            break
    found = [each for each in found if matters(each[0], each[1].cell.branch)]
    found.sort(key=lambda each: (each[1].cell.branch, each[1].cell.middle))
    return [drawn for _, drawn, _ in found], [fit for _, _, fit in found]
