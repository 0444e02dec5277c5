"""Cells at a switching point: there a level is no straight line in what spreads, so the spread itself is tried.

Where a reading's first-order spread is large, one latent mostly makes it. That latent is put at several points of its
distribution, each solved as a cell of its own, and only the others stay a Gaussian around each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.diagnosis.cells import CONTINUOUS, Cell
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.spread import Noise
from seqsim.network import Turn
from seqsim.network.network import Bools, Floats
from seqsim.solver.batch import Latents

STEEP_LIMITS = 2.0
"""A reading whose standard deviation exceeds this many times what a cell may span is steep."""
POINTS = (-1.6, -0.8, 0.0, 0.8, 1.6)
SHARES = (0.115, 0.230, 0.310, 0.230, 0.115)
"""Standard deviations at which the latent is tried, and the normal distribution's share around each."""
MOST_SPREAD = 0.3
"""Largest first-order standard deviation that is believed, as a share of the reading's span."""


@dataclass(frozen=True)
class Spread:
    """A cell with its moves (r, l): the change of each reading for one standard deviation of each latent."""

    cell: Cell
    moves: Floats


def spread_out(
    predictor: Predictor,
    branches: Sequence[Branch],
    cells: Sequence[Cell],
    latents: Latents,
    keys: Sequence[tuple[str, str]],
    limits: Floats,
) -> list[tuple[Spread, ...]]:
    """Return each cell with its moves, steep ones split along the latent that makes them so.

    ``keys`` names the knob of each latent.
    """
    moves = predictor.moves([branches[cell.branch] for cell in cells], [cell.middle for cell in cells], latents)
    deviation = np.sqrt((moves**2).sum(axis=2))
    steep: list[int] = np.flatnonzero((deviation > STEEP_LIMITS * limits).any(axis=1)).tolist()
    spread: list[tuple[Spread, ...]] = [(Spread(cell, move),) for cell, move in zip(cells, moves, strict=True)]
    if not steep:
        return spread
    dominant = [int(np.argmax((moves[c] ** 2 / limits[:, None] ** 2).sum(axis=0))) for c in steep]
    tried = [
        _turned(branches[cells[c].branch], predictor, keys[l], z)
        for c, l in zip(steep, dominant, strict=True)
        for z in POINTS
    ]
    at = [cells[c].middle for c in steep for _ in POINTS]
    tips, restless, good, again = predictor.nearby(tried, at, latents)
    for k, (c, l) in enumerate(zip(steep, dominant, strict=True)):
        here = slice(k * len(POINTS), (k + 1) * len(POINTS))
        again[here, :, l] = 0.0
        parts = _parts(cells[c], tips[here], restless[here], good[here], limits)
        spread[c] = tuple(Spread(part, move) for part, move in zip(parts, again[here], strict=True) if part is not None)
    return spread


def _turned(branch: Branch, predictor: Predictor, key: tuple[str, str], deviations: float) -> Branch:
    knob = predictor.desk.network.knobs[key]
    value = math.exp(knob.spread * deviations) if knob.neutral else knob.spread * deviations
    turn = Turn(knob.owner, knob.name, value)
    states = {condition.state for condition in predictor.conditions}
    return replace(branch, extra={state: (*branch.extra.get(state, ()), turn) for state in states})


def _parts(cell: Cell, tips: Floats, restless: Bools, good: Bools, limits: Floats) -> list[Cell | None]:
    """Return the cells at the points of a latent; None where there is no level."""
    parts: list[Cell | None] = []
    for p, share in enumerate(SHARES):
        if not good[p]:
            parts.append(None)
            continue
        own = cell.own
        for other in (p - 1, p + 1):
            if 0 <= other < len(SHARES) and good[other]:
                step = tips[other] - tips[p]
                if (np.abs(step) <= CONTINUOUS * limits).all():
                    own = own + np.outer(step, step) / 24
        parts.append(
            replace(cell, weight=cell.weight * share, mean=tips[p], own=own, restless=restless[p].astype(float))
        )
    return parts


def believed(moves: Floats, noise: Noise) -> Floats:
    """Return moves (r, l) whose spread stays within what a reading can show at all."""
    deviation = np.sqrt((moves**2).sum(axis=1))
    most = MOST_SPREAD * noise.span
    return np.asarray(moves * np.minimum(1.0, most / np.maximum(deviation, 1e-12))[:, None])
