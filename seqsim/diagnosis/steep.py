"""Straight lines: how readings move with what spreads; at a switching point, several lines for one.

There a level is no straight line in what spreads. Where a reading's first-order spread is large, one latent mostly
makes it: that latent is put at several points of its distribution, each solved as a cell of its own, and only the
others stay a Gaussian around each.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.diagnosis.cells import CONTINUOUS, Cell
from seqsim.diagnosis.points import Nearby, Point
from seqsim.diagnosis.predict import Branch
from seqsim.network import Network, Turn
from seqsim.network.network import Bools, Floats

STEEP_LIMITS = 2.0
"""A reading whose standard deviation exceeds this many times what a cell may span is steep."""
POINTS = (-1.6, -0.8, 0.0, 0.8, 1.6)
SHARES = (0.115, 0.230, 0.310, 0.230, 0.115)
"""Standard deviations at which the latent is tried, and the normal distribution's share around each."""
MOST_SPREAD = 0.3
"""Largest first-order standard deviation that is believed, as a share of the reading's span."""


@dataclass(frozen=True)
class Spread:
    """A cell with its moves (r, l): the change of each reading for one standard deviation of each latent.

    ``tips`` (r,) are what is read at the middle of the cell; ``turned`` are latents that are put at a point of their
    own there, in standard deviations.
    """

    cell: Cell
    moves: Floats
    tips: Floats
    turned: tuple[tuple[int, float], ...] = ()

    def beside(self, followed: Floats) -> Spread:
        """Return the cell with the moves (r, l) taken off by which a good board goes the same way; see `followed`."""
        return replace(self, moves=self.moves - followed) if followed.any() else self


@dataclass(frozen=True)
class Lines:
    """Straight lines of one severity of a branch: what is read there, tips (r,), and its moves (r, l).

    At a switching point ``steep`` is the latent that makes it so (else -1), and ``tries`` what is read with that latent
    at each of its points.
    """

    tips: Floats
    moves: Floats
    steep: int = -1
    tries: tuple[Try, ...] = ()

    def spread(self, cell: Cell, limits: Floats) -> tuple[Spread, ...]:
        """Return a cell around this severity with its moves; at a switching point, several for one."""
        if self.steep < 0:
            return (Spread(cell, self.moves, self.tips),)
        parts = _parts(cell, self.tries, limits)
        return tuple(
            Spread(part, each.moves, each.tips, ((self.steep, z),))
            for part, each, z in zip(parts, self.tries, POINTS, strict=True)
            if part is not None
        )


@dataclass(frozen=True)
class Try:
    """What is read, tips (r,), with one latent at a point of its own, where a board has a level there (``good``)."""

    tips: Floats
    restless: Bools
    good: bool
    moves: Floats


def lines_of(
    nearby: Callable[[Mapping[Hashable, Point]], Nearby],
    wanted: Mapping[Hashable, Point],
    network: Network,
    keys: Sequence[tuple[str, str]],
    limits: Floats,
) -> list[Lines]:
    """Return the lines of points, in the order of ``wanted``, which names each.

    Parameters
    ----------
    nearby
        Tells what named points read, and how that moves.
    network, keys
        The network with the knobs of the latents, and which knob each latent is.
    limits
        (r,) how far a reading may move within a cell.
    """
    tips, _, _, moves = nearby(wanted)
    deviation = np.sqrt((moves**2).sum(axis=2))
    lines = [Lines(*each) for each in zip(tips, moves, strict=True)]
    steep: list[int] = np.flatnonzero((deviation > STEEP_LIMITS * limits).any(axis=1)).tolist()
    if not steep:
        return lines
    dominant = [int(np.argmax((moves[c] ** 2 / limits[:, None] ** 2).sum(axis=0))) for c in steep]
    named = list(wanted.items())
    tried: dict[Hashable, Point] = {}
    for c, latent in zip(steep, dominant, strict=True):
        name, (branch, severity) = named[c]
        for z in POINTS:
            tried[name, latent, z] = turned(branch, network, keys, [(latent, z)]), severity
    tips, restless, good, again = nearby(tried)
    for k, (c, latent) in enumerate(zip(steep, dominant, strict=True)):
        here = range(k * len(POINTS), (k + 1) * len(POINTS))
        again[here, :, latent] = 0.0
        tries = tuple(Try(tips[i], restless[i], bool(good[i]), again[i]) for i in here)
        lines[c] = replace(lines[c], steep=latent, tries=tries)
    return lines


def turned(
    branch: Branch, network: Network, keys: Sequence[tuple[str, str]], points: Iterable[tuple[int, float]]
) -> Branch:
    """Return a branch with latents put at points of their own, in standard deviations, in every power state."""
    turns = []
    for latent, deviations in points:
        knob = network.knobs[keys[latent]]
        value = math.exp(knob.spread * deviations) if knob.neutral else knob.spread * deviations
        turns.append(Turn(knob.owner, knob.name, value))
    return branch.turned(turns)


def _parts(cell: Cell, tries: Sequence[Try], limits: Floats) -> list[Cell | None]:
    """Return the cells at the points of a latent; None where there is no level."""
    parts: list[Cell | None] = []
    for p, (each, share) in enumerate(zip(tries, SHARES, strict=True)):
        if not each.good:
            parts.append(None)
            continue
        apart = cell.apart
        for other in (p - 1, p + 1):
            if 0 <= other < len(tries) and tries[other].good:
                step = tries[other].tips - each.tips
                if (np.abs(step) <= CONTINUOUS * limits).all():
                    apart = np.column_stack([apart, step / np.sqrt(24)])
        restless = each.restless.astype(np.float64)
        parts.append(replace(cell, weight=cell.weight * share, mean=each.tips, apart=apart, restless=restless))
    return parts


def believed(moves: Floats, span: Floats) -> Floats:
    """Return moves (..., r, l) whose spread stays within what a reading can show at all, given spans (r,)."""
    deviation = np.sqrt((moves**2).sum(axis=-1))
    return np.asarray(moves * np.minimum(1.0, MOST_SPREAD * span / np.maximum(deviation, 1e-12))[..., None])
