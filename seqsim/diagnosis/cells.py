"""From predictions to likelihoods: severities that read nearly alike form a cell, each cell a Gaussian."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.diagnosis.likelihood import Fit, conditional, fits
from seqsim.diagnosis.predict import Branch, Predictions
from seqsim.diagnosis.spread import Noise
from seqsim.faults.together import Grid
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings.measurement import Measurement
from seqsim.readings.outcome import Condition as Wording
from seqsim.readings.outcome import Zone
from seqsim.solver import FLOATING_OHMS

CONTINUOUS = 5.0
"""Neighbouring points that lie further apart than this many cells are taken for a jump, which has no middle."""
RESTLESS_SHARE = 0.25
"""Standard deviation of a reading on a board that oscillates, as a share of the reading's span."""
ROUGH_SHARE, ROUGH_VOLTS = 0.03, 0.06
"""Spread that is assumed of every prediction when leaders are chosen: wide enough to lose none."""
LEAD, LEAD_READINGS, MOST_LEAD = 18.0, 8, 2.0
"""What exceeds the best rough χ² by more than this is out of the running: e^-9, and less with the true spread. The
limit grows with more readings than these, to twice as much: each adds a little of what is rough."""
LEAST_SHARED = 0.3
"""Share of the rough spread by which a direction in which readings move together must move them to be looked at."""
MOST_PULL = 6.0
"""Rough standard deviations that a reading counts as when such a move is sought: one slip must not make it."""
AT_ONCE = 4096
"""Items whose common moves are sought in one go, for the memory's sake."""
KEPT = 60
"""Branches, and cells, that stay in the running in any case: the rough spread knows no supply that is low."""
SPLIT, LEAST_GAP = 4, 1e-3
"""A gap between severities is split in so many; gaps of so small a share of a mode are left: a level jumps there."""
WORD_RIGHT = 0.95
"""Chance that a node that floats, or pulses, is told so (our judgement)."""
WORD_UNEXPLAINED = 0.1
"""Chance below which a word that was read counts as unexplained."""


@dataclass(frozen=True)
class Cell:
    """Severities of one branch that read nearly alike: mean (r,) and covariance of their tip volts.

    ``middle`` is the number of the severity at their middle, ``ohms`` (r,) the resistance that the meter sees there;
    ``ends`` are the numbers of the first and the last.
    ``apart`` (r, m) is how far they lie from their mean, a root of their covariance: many readings make that large.
    """

    branch: int
    weight: float
    middle: int
    ohms: Floats
    mean: Floats
    apart: Floats
    restless: Floats
    ends: tuple[int, int]

    @property
    def own(self) -> Floats:
        """Return the covariance (r, r) of what is read at the cell's severities."""
        return np.asarray(self.apart @ self.apart.T)


@dataclass(frozen=True)
class Scored:
    """One cell with its full covariance and its fit."""

    cell: Cell
    covariance: Floats
    fit: Fit
    words: Floats
    """(r,) logarithm of the chance of each word that was read; zero for numbers"""
    log: float
    """logarithm of the likelihood, words included, weight of the cell excluded"""


def rough(predictions: Predictions, noise: Noise) -> Floats:
    """Return a slip-tolerant χ² (i,) of every item under a wide spread; words count nothing."""
    if not len(predictions.tips):
        return np.zeros(0)
    score = _rough_score(predictions.tips, predictions.restless, 0.0, noise)
    return np.where(predictions.good, score, np.inf)


def _rough_score(tips: Floats, restless: Floats | Bools, own: Floats | float, noise: Noise) -> Floats:
    """Return χ² (i,) with the worst reading counting no more than a slip."""
    if not len(noise.observed):
        return np.zeros(len(tips))
    z, _, price = _apart(tips, restless, own, noise)
    return _one_forgiven(z**2 + price)


def _score(tips: Floats, restless: Floats | Bools, own: Floats | float, noise: Noise) -> Floats:
    """Return the same χ² (i,), or the lower one that is left where all readings may move together a little.

    A supply that is low shows in many readings. They move as `Noise.shared` U says, by x ~ N(0, 1) in each direction:
    the x that fits best costs |x|², and takes U x off what is between a reading and its prediction.
    """
    count = noise.shared.shape[1]
    plain = _rough_score(tips, restless, own, noise)
    if not count:
        return plain
    shared = noise.shared * noise.number[:, None]
    squares = (shared[:, :, None] * shared[:, None, :]).reshape(len(shared), -1)
    found = plain.copy()
    for low in range(0, len(tips), AT_ONCE):
        part = slice(low, low + AT_ONCE)
        z, wide, price = _apart(tips[part], restless[part], own if isinstance(own, float) else own[part], noise)
        normal = (wide**-2 @ squares).reshape(-1, count, count) + np.eye(count)
        pulled = (np.clip(z, -MOST_PULL, MOST_PULL) / wide) @ shared
        x = np.linalg.solve(normal, pulled[:, :, None])[:, :, 0]
        left = z - x @ shared.T / wide
        found[part] = np.minimum(found[part], _one_forgiven(left**2 + price) + (x**2).sum(axis=1))
    return found


def _apart(tips: Floats, restless: Floats | Bools, own: Floats | float, noise: Noise) -> tuple[Floats, Floats, Floats]:
    """Return how far each reading lies from tips (i, r), in rough standard deviations; these; what their width costs.

    Words count nothing. A board that oscillates may read anything, and pays for that: a broad density is a low one.
    """
    narrow = _narrow(tips, noise)
    wide = narrow + RESTLESS_SHARE * noise.span * restless
    price = np.where(noise.number, 2 * np.log(wide / narrow), 0.0)
    return np.where(noise.number, (noise.observed - tips) / (wide + own), 0.0), wide + own, price


def _narrow(tips: Floats, noise: Noise) -> Floats:
    """Return the rough standard deviation (..., r) of readings around steady tips (..., r)."""
    return np.sqrt(np.diag(noise.covariance) + (ROUGH_SHARE * tips) ** 2 + rough_volts(noise) ** 2)


def _one_forgiven(chi: Floats) -> Floats:
    """Return the sum of χ² (i, r) over the readings, the worst of them counting no more than a slip."""
    ordered = np.sort(chi, axis=1)
    return np.asarray(ordered[:, :-1].sum(axis=1) + np.minimum(ordered[:, -1], 9.0))


def shared(moves: Floats, tips: Floats, noise: Noise) -> Floats:
    """Return the directions (r, k) in which the readings of a board move together by more than the rough spread.

    ``moves`` (r, l) and ``tips`` (r,) are those of a healthy board.
    """
    narrow = _narrow(tips, noise)
    left, size, _ = np.linalg.svd(moves / narrow[:, None], full_matrices=False)
    kept = size > LEAST_SHARED
    return np.asarray(narrow[:, None] * left[:, kept] * size[kept])


def rough_volts(noise: Noise) -> Floats:
    """Rough spread in tip volts: less where the meter's own test voltage is small.

    A volt reading near zero is no exception: what a saturated switch leaves differs by tens of millivolts.
    """
    small = 0.1 * np.maximum(np.abs(noise.observed), 0.02) + 0.5 * np.sqrt(np.diag(noise.covariance))
    return np.where(noise.tested, np.minimum(ROUGH_VOLTS, small), ROUGH_VOLTS)


def leading(predictions: Predictions, noise: Noise, branches: int) -> tuple[Ints, Floats]:
    """Return the numbers of branches that stay in the running, and the best rough χ² of every branch.

    Between two severities each reading passes through all that lies between, and no two need do so at the same pace
    (one of them may switch): the χ² of the nearest corner of the box that they span counts too.
    """
    best, _, _ = _best(predictions, noise, branches)
    return np.flatnonzero(best <= _limit(best, noise)), best


def gaps(
    predictions: Predictions, branches: Sequence[Branch], noise: Noise, limits: Floats
) -> dict[int, Floats]:  # fmt: skip
    """Return where severities lie too far apart, as quantiles to add to branches by their numbers.

    Two neighbours are too far apart when a reading moves further than a cell may span (``limits``, (r,)) and what was
    read may lie between them: a straight line between them would then be a poor account of the way.
    """
    best, first, score = _best(predictions, noise, len(branches))
    far = (np.abs(predictions.tips[first + 1] - predictions.tips[first]) > limits).any(axis=1)
    wanted: dict[int, list[float]] = {}
    for item in first[far & (score <= _limit(best, noise, kept=1))].tolist():
        branch = branches[predictions.branch[item]]
        low, high = branch.where[predictions.severity[item : item + 2]]
        if not isinstance(branch.mode.severity, Grid) and high - low > LEAST_GAP:
            wanted.setdefault(int(predictions.branch[item]), []).extend(np.linspace(low, high, SPLIT + 1)[1:-1])
    return {number: np.array(quantiles) for number, quantiles in wanted.items()}


def _best(predictions: Predictions, noise: Noise, branches: int) -> tuple[Floats, Ints, Floats]:
    """Return the best rough χ² (b,) of every branch; items followed by another of their branch; the χ² between."""
    score = np.where(predictions.good, _score(predictions.tips, predictions.restless, 0.0, noise), np.inf)
    best = np.full(branches, np.inf)
    np.minimum.at(best, predictions.branch, score)
    following = np.flatnonzero((np.diff(predictions.branch) == 0) & predictions.good[:-1] & predictions.good[1:])
    first, second = predictions.tips[following], predictions.tips[following + 1]
    nearest = np.clip(noise.observed, np.minimum(first, second), np.maximum(first, second))
    restless = predictions.restless[following] | predictions.restless[following + 1]
    between = _score(nearest, restless, 0.0, noise)
    np.minimum.at(best, predictions.branch[following], between)
    return best, following, between


def _limit(score: Floats, noise: Noise, kept: int = KEPT) -> float:
    """Return the rough χ² up to which branches or cells stay in the running."""
    found = np.sort(score[np.isfinite(score)])
    if not len(found):
        return np.inf
    by_lead = found[0] + LEAD * min(max(1.0, int(noise.number.sum()) / LEAD_READINGS), MOST_LEAD)
    return float(max(by_lead, found[min(kept, len(found)) - 1]))


def cells_of(predictions: Predictions, branches: Sequence[Branch], chosen: Ints, limits: Floats) -> Iterator[Cell]:
    """Yield the cells of the chosen branches; ``limits`` (r,) say how far a reading may move within one."""
    start = np.searchsorted(predictions.branch, chosen, side="left")
    stop = np.searchsorted(predictions.branch, chosen, side="right")
    for number, low, high in zip(chosen, start, stop, strict=True):
        items = np.arange(low, high)[predictions.good[low:high]]
        if not len(items):
            continue
        tips = predictions.tips[items]
        shares = branches[number].shares[predictions.severity[items]]
        shares = shares / shares.sum()
        groups = list(_runs(tips, limits))
        parts = [float(shares[g.start : g.stop].sum()) for g in groups]
        means = [
            shares[g.start : g.stop] @ tips[g.start : g.stop] / part for g, part in zip(groups, parts, strict=True)
        ]
        wandering = predictions.restless[items].astype(np.float64)
        for g, (group, share) in enumerate(zip(groups, parts, strict=True)):
            mine = slice(group.start, group.stop)
            apart = (tips[mine] - means[g]).T * np.sqrt(shares[mine] / share)
            for other in (g + 1,) if g + 1 < len(groups) else ():
                if (np.abs(tips[groups[other][0]] - tips[group[-1]]) <= CONTINUOUS * limits).all():
                    apart = np.column_stack([apart, (means[other] - means[g]) / np.sqrt(12)])
            low, middle, high = items[group[0]], items[group[len(group) // 2]], items[group[-1]]
            restless = wandering[mine].sum(axis=0) / len(group)
            yield Cell(
                int(number), branches[number].weight * share, int(predictions.severity[middle]),
                predictions.ohms[middle], means[g], apart, restless,
                (int(predictions.severity[low]), int(predictions.severity[high])),
            )  # fmt: skip


def _runs(tips: Floats, limits: Floats) -> Iterator[range]:
    """Yield runs of items (i,) whose tips (i, r) lie within limits (r,) of those of the first."""
    start = 0
    while start < len(tips):
        far = (np.abs(tips[start + 1 :] - tips[start]) > limits).any(axis=1)
        end = start + 1 + int(far.argmax()) if far.any() else len(tips)
        yield range(start, end)
        start = end


def in_the_running(cells: Sequence[Cell], branches: Sequence[Branch], noise: Noise) -> list[Cell]:
    """Return the cells that can matter, the likeliest first, after those of a healthy board."""
    if not cells:
        return []
    means = np.stack([cell.mean for cell in cells])
    own = np.sqrt(np.stack([(cell.apart**2).sum(axis=1) for cell in cells]))
    score = _score(means, np.stack([cell.restless for cell in cells]), own, noise)
    healthy = np.array([branches[cell.branch].hypothesis == 0 for cell in cells])
    order = np.lexsort([score, ~healthy])
    limit = _limit(score, noise)
    return [cells[k] for k in order.tolist() if healthy[k] or score[k] <= limit]


def limits_of(measurements: Sequence[Measurement]) -> Floats:
    """Return how far each reading's tip volts may move within a cell (r,)."""
    return np.array([each.kind.cell_volts for each in measurements])


def score(
    cells: Sequence[Cell], moves: Sequence[Floats], measurements: Sequence[Measurement], noise: Noise, slip: Floats,
    largest: Floats,
) -> list[Scored]:  # fmt: skip
    """Return the fit of every cell; ``moves`` (r, l) are its sensitivities to one standard deviation each."""
    if not cells:
        return []
    wide = RESTLESS_SHARE * noise.span * np.stack([cell.restless for cell in cells])
    moved = np.stack(moves)
    covariance = noise.covariance + moved @ moved.transpose(0, 2, 1) + np.stack([cell.own for cell in cells])
    at = np.arange(len(noise.observed))
    covariance[:, at, at] += wide**2
    return weigh(cells, covariance, measurements, noise, slip, largest)


def weigh(
    cells: Sequence[Cell], covariance: Floats, measurements: Sequence[Measurement], noise: Noise, slip: Floats,
    largest: Floats,
) -> list[Scored]:  # fmt: skip
    """Return the fits of cells around which readings have a ``covariance`` (c, r, r).

    Numbers count as a Gaussian, each word by its chance given the numbers.
    """
    numbers = np.flatnonzero(noise.number)
    words = np.flatnonzero(~noise.number)
    means = np.stack([cell.mean for cell in cells])
    grid = covariance[:, numbers[:, None], numbers]
    results = fits(noise.observed[numbers], means[:, numbers], grid, slip[numbers], noise.span[numbers])
    chances = np.zeros((len(cells), len(measurements)))
    if len(words):
        mean, deviation = conditional(covariance, means, noise.observed[numbers], numbers, words)
        for n, k in enumerate(words.tolist()):
            chances[:, k] = np.log(_chance(measurements[k], mean[:, n], deviation[:, n], cells, k, slip, largest))
    return [
        Scored(cell, wide, result, each, result.log + float(each.sum()))
        for cell, wide, result, each in zip(cells, covariance, results, chances, strict=True)
    ]


def _chance(
    each: Measurement, at: Floats, sd: Floats, cells: Sequence[Cell], k: int, slip: Floats, largest: Floats
) -> Floats:
    """Return the chance (c,) of the word that was read, the k-th reading, in each cell; never below that of a slip."""
    match each.observed:
        case Zone():
            chance = each.chance(at, sd, float(largest[k]))
        case Wording(name="floating"):
            floats = np.array([abs(cell.ohms[k]) > FLOATING_OHMS for cell in cells])
            chance = np.where(floats, WORD_RIGHT, 1 - WORD_RIGHT)
        case Wording():
            chance = np.where([cell.restless[k] > 0.5 for cell in cells], WORD_RIGHT, 1 - WORD_RIGHT)
        case _:
            return np.ones(len(cells))
    return np.asarray((1 - slip[k]) * np.clip(chance, 0.0, 1.0) + slip[k] / 2)
