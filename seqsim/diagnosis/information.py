"""How much a reading would tell: expected information about groups of hypotheses, from a table of predictions.

Pure functions. A *table* (g, o) holds the joint probability of groups and outcomes of one reading; it adds up to one.
What a reading is worth is the entropy that the groups lose by it on average, in bits: the mutual information of group
and outcome (Shannon 1948; as a choice of probe: de Kleer and Williams 1987, Artificial Intelligence 32, 97–130).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from seqsim.network.network import Floats, Ints
from seqsim.readings.outcome import normal_below

BINS = 120
"""Outcomes into which the range of a reading is cut."""
ALIKE_SHARE = 0.05
"""Predictions of nearly one spread, nearer to each other than this share of it, are worked out once."""
FAR = 8.0
"""Standard deviations beyond which nothing is expected."""
TOLD = 0.9
"""Ranges keep at least this share of what the finest ones would tell."""
MOST_RANGES = 4


def entropy(probability: Floats) -> float:
    """Return the entropy (bits) of probabilities that add up to one."""
    p = np.asarray(probability, dtype=np.float64)
    p = p[p > 0]
    return float(-(p * np.log2(p)).sum())


def expected_entropy(table: Floats) -> float:
    """Return the entropy (bits) of the groups that is left on average once the outcome is known."""
    return entropy(table.ravel()) - entropy(table.sum(axis=0))


def information(table: Floats) -> float:
    """Return what the outcome tells about the groups (bits)."""
    return max(0.0, entropy(table.sum(axis=1)) - expected_entropy(table))


@dataclass(frozen=True)
class Outlook:
    """What one reading may show: a table (g, o) of groups and outcomes, and where its outcomes end (o + 1,).

    ``slip`` is the chance that the outcome says nothing: it lies anywhere.
    """

    table: Floats
    edges: Floats
    slip: float = 0.0

    @property
    def bits(self) -> float:
        """Return what the reading tells about the groups."""
        anywhere = self.table.sum(axis=1, keepdims=True) / self.table.shape[1]
        return information((1 - self.slip) * self.table + self.slip * anywhere)


def outlook(
    weight: Floats, group: Ints, mean: Floats, deviation: Floats, *, groups: int | None = None, slip: float = 0.0
) -> Outlook:
    """Return the outlook of a reading that is a mixture of Gaussians.

    Parameters
    ----------
    weight
        (c,) probability of each way to look; adds up to one.
    group
        (c,) number of the group that each belongs to.
    mean, deviation
        (c,) what each predicts, and its standard deviation (above zero).
    slip
        Chance that the outcome says nothing: it lies anywhere.
    """
    count = int(group.max()) + 1 if groups is None else groups
    which, kinds = _kinds(mean, deviation)
    at, wide = mean[kinds], deviation[kinds]
    held = np.zeros(len(kinds))
    np.add.at(held, which, weight)
    edges = _edges(at, wide, held)
    z = np.clip((edges - at[:, None]) / wide[:, None], -FAR, FAR)
    below = normal_below(z)
    below[:, 0], below[:, -1] = 0.0, 1.0
    share = np.zeros((count, len(kinds)))
    np.add.at(share, (group, which), weight)
    table = share @ np.diff(below, axis=1)
    return Outlook(table, edges, slip)


def _kinds(mean: Floats, deviation: Floats) -> tuple[Ints, Ints]:
    """Return which of the different predictions each one is, and a member of each."""
    wide = np.round(4 * np.log2(deviation)).astype(np.int64)
    at = np.round(mean / (ALIKE_SHARE * np.exp2(wide / 4))).astype(np.int64)
    _, member, which = np.unique(np.column_stack([wide, at]), axis=0, return_index=True, return_inverse=True)
    return which.ravel(), member


def _edges(mean: Floats, deviation: Floats, weight: Floats) -> Floats:
    """Return edges (o + 1,) that are dense where likely predictions are; the outermost reach beyond all."""
    steps = np.linspace(-3.5, 3.5, max(15, 2 * BINS // len(mean)))
    marks = (mean[:, None] + deviation[:, None] * steps).ravel()
    counted = np.repeat(np.sqrt(weight) + 1e-3, len(steps))
    order = np.argsort(marks, kind="stable")
    held = np.cumsum(counted[order])
    inner = np.unique(marks[order][np.searchsorted(held, np.linspace(held[0], held[-1], BINS - 1))])
    low, high = (mean - FAR * deviation).min(), (mean + FAR * deviation).max()
    return np.concatenate([[low], inner[(inner > low) & (inner < high)], [high]])


@dataclass(frozen=True)
class Span:
    """A range of outcomes, from ``start`` to ``end``; ``low`` to ``high`` hold 96 % of its ``probability``.

    ``share`` (g,) is the probability of each group in it.
    """

    start: float
    end: float
    low: float
    high: float
    probability: float
    share: Floats


def spans(seen: Outlook) -> tuple[Span, ...]:
    """Return the few ranges of outcomes that tell nearly all, in rising order.

    Neighbouring outcomes are joined, each time the two whose joining loses least.
    """
    parts = [np.array(column) for column in seen.table.T]
    first = list(range(len(parts)))
    costs = [_cost(a, b) for a, b in itertools.pairwise(parts)]
    spare = (1 - TOLD) * seen.bits
    while costs:
        k = int(np.argmin(costs))
        if len(parts) <= MOST_RANGES and costs[k] > spare:
            break
        if len(parts) <= MOST_RANGES:
            spare -= costs[k]
        parts[k] = parts[k] + parts.pop(k + 1)
        first.pop(k + 1)
        costs.pop(k)
        for j in (k - 1, k):
            if 0 <= j < len(costs):
                costs[j] = _cost(parts[j], parts[j + 1])
    ends = [*first[1:], seen.table.shape[1]]
    return tuple(_span(seen, part, a, b) for part, a, b in zip(parts, first, ends, strict=True))


def _cost(a: Floats, b: Floats) -> float:
    """Return what is lost (bits) when two outcomes are told apart no more."""
    both = a + b
    return max(_left(both) - _left(a) - _left(b), 0.0)


def _left(column: Floats) -> float:
    """Return an outcome's part of the expected entropy (bits)."""
    total = float(column.sum())
    return total * entropy(column / total) if total > 0 else 0.0


def _span(seen: Outlook, part: Floats, first: int, end: int) -> Span:
    mass = np.cumsum([0.0, *seen.table[:, first:end].sum(axis=0)])
    total = float(mass[-1])
    low, high = np.interp([0.02 * total, 0.98 * total], mass, seen.edges[first : end + 1])
    start, stop = float(seen.edges[first]), float(seen.edges[end])
    return Span(start, stop, float(low), float(high), total, part / total if total > 0 else part)
