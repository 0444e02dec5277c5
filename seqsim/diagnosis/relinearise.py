"""The leaders once more, where their board is thought to be: a straight line holds best near the point it is drawn at.

A cell's Gaussian is drawn at nominal values. Where the readings say that a supply or a part lies well off, a diode may
conduct there that is off at nominal values, or the reverse, and the straight line from afar is wrong by more than the
meter is. So the cell is solved again with the latents that matter turned to where the readings put them, and the line
is drawn there (the step of an iterated Kalman filter).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.diagnosis.cells import Scored, score
from seqsim.diagnosis.hypotheses import Sort
from seqsim.diagnosis.points import Nearby, Point
from seqsim.diagnosis.predict import Branch
from seqsim.diagnosis.reference import Calibration, nothing_known
from seqsim.diagnosis.spread import Noise, followed
from seqsim.diagnosis.steep import Spread, believed, turned
from seqsim.diagnosis.table import Table
from seqsim.network.network import Floats
from seqsim.readings.measurement import Measurement

LOOK, MOST_LOOKED = 20.0, 300
"""Cells whose weighed likelihood lies within e^-20 of the best are looked at, the best of them if they are more."""
LEADERS = 12
"""The best cells of as many single faults are looked at however far behind: a kink can cost a true one fifty."""
ROUNDS = 2
CHANGED = 0.5
"""A cell whose logarithm changed by more is looked at once more."""
LEAST_EFFECT = 0.1
"""Share of a cell's limit that a latent must move some reading by to be turned."""
MOST_TURNED = 8
"""Latents turned in one cell: each takes hinges of its own in the solver."""
FARTHEST = 4.0
"""Standard deviations beyond which no line is drawn: readings that want more contradict the cell."""
MOST_SLIPS = 2
"""Readings that are left out in turn where a cell seems to fit by a slip alone."""


@dataclass(frozen=True)
class _Turned:
    """One cell with the latents (k,) that are to be turned, and where to, in standard deviations."""

    spread: Spread
    latents: list[int]
    deviations: Floats


def relinearised(
    scored: Sequence[Scored],
    spread: Sequence[Spread],
    branches: Sequence[Branch],
    table: Table,
    measurements: Sequence[Measurement],
    noise: Noise,
    slip: Floats,
    largest: Floats,
    known: Calibration | None = None,
) -> list[Scored]:
    """Return the fits with those of the leading cells taken again where the readings put their boards.

    Parameters
    ----------
    scored, spread
        Cells with their fits, and the same cells with their moves as nothing but the drawing tells them.
    branches
        Those of the cells.
    known
        What else is known of the latents; the fits have it already.
    """
    found = list(scored)
    at = _leaders(scored, branches, table) if noise.number.any() else []
    known = known or nothing_known(table.latents.size)
    lines = {k: (spread[k].cell.mean, believed(spread[k].moves, noise.span)) for k in at}
    lean = followed(measurements, table.latents.size)
    for _ in range(ROUNDS):
        wanted = [
            (k, there) for k in at for there in _where(found[k], spread[k], *lines[k], known, noise, table.limits)
        ]
        if not wanted:
            break
        tips, restless, good, moves = _nearby([there for _, there in wanted], branches, table)
        solved: list[tuple[int, tuple[Floats, Floats]]] = []
        cells = []
        for n in np.flatnonzero(good).tolist():
            k, there = wanted[n]
            moves[n][:, [l for l, _ in there.spread.turned]] = 0.0
            moved = believed(moves[n], noise.span)
            mean = there.spread.cell.mean + tips[n] - there.spread.tips - moved[:, there.latents] @ there.deviations
            moved = moved - lean
            expected = mean + moved @ known.mean
            cells.append(replace(there.spread.cell, mean=expected, restless=restless[n].astype(np.float64)))
            solved.append((k, (mean, moved)))
        again = score(cells, [known.rooted(moved) for _, (_, moved) in solved], measurements, noise, slip, largest)
        best: dict[int, int] = {}
        for n, (k, _) in enumerate(solved):
            if k not in best or again[n].log > again[best[k]].log:
                best[k] = n
        at = [k for k, n in best.items() if abs(again[n].log - found[k].log) > CHANGED]
        for k, n in best.items():
            found[k], lines[k] = again[n], solved[n][1]
    return found


def _leaders(scored: Sequence[Scored], branches: Sequence[Branch], table: Table) -> list[int]:
    """Return the numbers of the cells that are looked at."""
    weighed = np.array([each.log + math.log(each.cell.weight) for each in scored])
    least = weighed.max(initial=-np.inf) - LOOK
    chosen: list[int] = []
    led: set[int] = set()
    for k in np.argsort(-weighed, kind="stable").tolist():
        number = branches[scored[k].cell.branch].hypothesis
        leads = len(led) < LEADERS and number not in led and table.hypotheses[number].sort is Sort.LISTED
        if leads:
            led.add(number)
        if leads or (weighed[k] >= least and len(chosen) < MOST_LOOKED):
            chosen.append(k)
    return chosen


def _where(
    scored: Scored, spread: Spread, mean: Floats, moves: Floats, known: Calibration, noise: Noise, limits: Floats
) -> Iterator[_Turned]:
    """Yield where the readings may put the latents of a cell, those that matter.

    Where a slip seems likely, that may be the line's own fault: then all readings have their say, and all but each of
    the likeliest slips.
    """
    numbers = np.flatnonzero(noise.number)
    fit = scored.fit
    likely = np.argsort(-fit.slips)[:MOST_SLIPS].tolist() if fit.slips.max() > fit.none else []
    residual, rooted = noise.observed - mean - moves @ known.mean, known.rooted(moves)
    for kept in (numbers, *(np.delete(numbers, slipped) for slipped in likely)):
        pulled = np.linalg.solve(scored.covariance[np.ix_(kept, kept)], residual[kept])
        deviations = np.clip(known.latents(rooted[kept].T @ pulled), -FARTHEST, FARTHEST)
        effect = (np.abs(moves * deviations) / limits[:, None]).max(axis=0)
        order = np.argsort(-effect)[:MOST_TURNED]
        chosen = order[effect[order] > LEAST_EFFECT].tolist()
        if chosen:
            yield _Turned(spread, chosen, deviations[chosen])


def _nearby(wanted: Sequence[_Turned], branches: Sequence[Branch], table: Table) -> Nearby:
    """Return what cells read with their latents turned, in every power state, and how that moves."""
    points: dict[Hashable, Point] = {}
    names: list[Hashable] = []
    for each in wanted:
        cell, branch = each.spread.cell, branches[each.spread.cell.branch]
        turns = (*each.spread.turned, *zip(each.latents, each.deviations.tolist(), strict=True))
        name = (cell.branch, float(branch.where[cell.middle])), *turns
        names.append(name)
        if name not in points:
            points[name] = turned(branch, table.sensitive.desk.network, table.keys, turns), cell.middle
    rows = {name: row for row, name in enumerate(points)}
    found = table.nearby(points)
    chosen = [rows[name] for name in names]
    return Nearby(found.tips[chosen], found.restless[chosen], found.good[chosen], found.moves[chosen])
