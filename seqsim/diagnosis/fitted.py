"""The likelihood of cells, the likeliest first and as far down as they can matter.

Straight lines are dear, and most cells lie far off: those are left out once many in a row were.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

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
"""If no weighed likelihood of so many lies within e^-30 of the best, those that are likely less are left out."""


def fitted(
    cells: Sequence[Cell],
    lines: Callable[[Sequence[Cell]], Sequence[Spread]],
    measurements: Sequence[Measurement],
    noise: Noise,
    slip: Floats,
    largest: Floats,
    known: Calibration | None,
) -> tuple[list[Spread], list[Scored]]:
    """Return cells with their moves as nothing but the drawing tells them, and their fits, in the order of branches.

    Parameters
    ----------
    cells
        The likeliest first.
    lines
        Returns cells with their moves; at a switching point, several for one.
    known
        What else is known of the latents.
    """
    found: list[tuple[Spread, Scored]] = []
    best = -np.inf
    for low in range(0, len(cells), AT_ONCE):
        drawn = list(lines(cells[low : low + AT_ONCE]))
        if not drawn:
            continue
        lean = followed(measurements, drawn[0].moves.shape[1])
        drawn = [each.beside(lean) for each in drawn]
        spread = drawn if known is None else [known.applied(each) for each in drawn]
        moves = [believed(each.moves, noise.span) for each in spread]
        fits = score([each.cell for each in spread], moves, measurements, noise, slip, largest)
        found += zip(drawn, fits, strict=True)
        here = max(each.log + math.log(each.cell.weight) for each in fits)
        if here < best - FAR:
            break
        best = max(best, here)
    found.sort(key=lambda each: (each[0].cell.branch, each[0].cell.middle))
    return [drawn for drawn, _ in found], [fit for _, fit in found]
