"""Look-alikes as readings leave them: faults that no reading on offer tells apart on this board.

Readings leave a fault some of its severities and ways to look; another may have been ruled out, or show itself as
something else, on other boards. A leak of 300 kΩ and a resistor of 100 kΩ that is a quarter too low are one to every
meter across it, though leaks and low resistors are not. What each way looks like, and how far boards differ, is as
before any reading: these only say which ways are left. In a power state that was not read an input that floats is
taken to be low.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.alike import NOBODY, UNLIKE_VOLTS, Alike, grouped, mistakes, own_deviation, smear
from seqsim.diagnosis.cells import Scored
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.hypotheses import Sort
from seqsim.diagnosis.points import Point, Points
from seqsim.diagnosis.spread import model_latents
from seqsim.network.network import Floats
from seqsim.readings.measurement import Measurement

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

LEAST_CHANCE, MOST_COMPARED = 2e-4, 300
"""Hypotheses that are compared: the likeliest, each with at least this probability, no more than so many."""
TOLD_APART = 7.0
"""Natural logarithm of odds by which all readings together have told two faults apart, though no single one would."""
LEAST_SHARE, MOST_WAYS = 0.01, 8
"""Runs of severities that count: with at least this share of their hypothesis, no more than so many of each."""
POINTS = 6
"""Severities of a hypothesis, divided among its runs by their shares."""
MOST_KEPT = 20_000
"""Points whose looks are kept before all are forgotten."""


class Looks:
    """How points look to every reading on offer, by names that whoever asks gives them; each is worked out once."""

    def __init__(self, desk: Desk, offered: Sequence[Measurement]) -> None:
        known, self._latents, _ = model_latents(desk.network)
        self._desk = replace(desk, network=known)
        self._offered = tuple(offered)
        self._kept: dict[Hashable, tuple[Floats, Floats]] = {}
        self.worked_out = 0
        """how often something was missing"""

    def remember(self, names: Sequence[Hashable], tips: Floats, deviation: Floats) -> None:
        """Take up what was told of points.

        Raises
        ------
        ValueError
            If it is of other readings.
        """
        if tips.shape != deviation.shape or tips.shape != (len(names), len(self._offered)):
            message = "looks of another size"
            raise ValueError(message)
        self._kept |= zip(names, zip(tips, deviation, strict=True), strict=True)

    def told(self, most: int) -> tuple[list[Hashable], Floats, Floats]:
        """Return the names of the points that were asked for last, and their looks."""
        names = list(self._kept)[-most:]
        return names, *self._rows(names)

    def at(self, wanted: Mapping[Hashable, Point]) -> tuple[Floats, Floats]:
        """Return tip volts (p, q) of points in the order of ``wanted``, and how boards differ there (p, q).

        A point without a level in some power state reads like no other there.
        """
        if len(self._kept) > MOST_KEPT:
            self._kept.clear()
        missing = {name: point for name, point in wanted.items() if name not in self._kept}
        if missing:
            self.worked_out += 1
            self._kept |= zip(missing, zip(*self._worked_out(missing), strict=True), strict=True)
        return self._rows(wanted)

    def _rows(self, names: Iterable[Hashable]) -> tuple[Floats, Floats]:
        shape = -1, len(self._offered)
        tips, deviation = (np.array([self._kept[name][k] for name in names]).reshape(shape) for k in (0, 1))
        return tips, deviation

    def _worked_out(self, points: Mapping[Hashable, Point]) -> tuple[Floats, Floats]:
        tips = np.zeros((len(points), len(self._offered)))
        deviation = np.zeros(tips.shape)
        unlike = UNLIKE_VOLTS * (1 + len(self._kept) + np.arange(len(points)))
        for condition in conditions(self._offered):
            here = condition.readings
            near = Points(self._desk, self._latents).at(points, [condition.alone()], len(here))
            tips[:, here] = np.where(near.good[:, None], near.tips, unlike[:, None])
            deviation[:, here] = np.minimum(np.sqrt((near.moves**2).sum(axis=2)), UNLIKE_VOLTS)
        for k, each in enumerate(self._offered):
            deviation[:, k] = np.hypot(deviation[:, k], own_deviation(each, tips[:, k]))
        return tips, deviation


@dataclass(frozen=True)
class _Way:
    """A way to look: a point with its name, the hypothesis (by its place among those compared) and a weight.

    ``follows`` is true where the way before it stands for the severities of the same branch next to these.
    """

    name: Hashable
    point: Point
    of: int
    weight: float
    follows: bool


def left_alike(found: Diagnosis, looks: Looks) -> Alike:
    """Return the groups of the likeliest hypotheses, by what readings leave of each."""
    compared = _compared(found)
    if not compared:
        return NOBODY
    ways = _ways(found, compared)
    names = [found.hypotheses[h].name for h in compared]
    tips, deviation = looks.at({each.name: each.point for each in ways})
    joined = np.array([each.follows for each in ways[1:]], dtype=np.bool_)
    shown = [(own, np.hypot(wide, smear(own, joined))) for own, wide in zip(tips.T, deviation.T, strict=True)]
    mistaken = mistakes(
        shown, np.array([each.of for each in ways]), np.array([each.weight for each in ways]),
        np.array([not name for name in names]),
    )  # fmt: skip
    groups = grouped(names, found.posterior.probability[compared].tolist(), mistaken)
    evidence = dict(zip(names, found.posterior.evidence[compared].tolist(), strict=True))
    left = [part for mine in groups.values() for part in _parted(mine, evidence)]
    return Alike.of(dict(enumerate(left)))


def _parted(names: Sequence[str], evidence: Mapping[str, float]) -> Iterator[tuple[str, ...]]:
    """Yield the members of a group that no reading has told apart, and then those that the readings have ruled out."""
    least = max(evidence[name] for name in names) - TOLD_APART
    for left in (True, False):
        part = tuple(name for name in names if (evidence[name] >= least) == left)
        if part:
            yield part


def _compared(found: Diagnosis) -> list[int]:
    """Return the hypotheses that are compared, places left out.

    Those count too that would be likely without one of the readings: whether an answer hangs on it is decided by what
    would stand in its place, look-alikes taken together.
    """
    probability = found.posterior.probability
    if not probability.any():
        return []
    chance = np.maximum(probability, found.without.max(axis=0, initial=0.0))
    mine = [
        k for k, h in enumerate(found.hypotheses)
        if h.sort is not Sort.PLACE and chance[k] > LEAST_CHANCE and k in found.posterior.best
    ]  # fmt: skip
    return sorted(sorted(mine, key=lambda k: -chance[k])[:MOST_COMPARED])


def _ways(found: Diagnosis, compared: Sequence[int]) -> list[_Way]:
    """Return the ways in which hypotheses may still look, those of one hypothesis together."""
    cells: dict[int, list[Scored]] = {h: [] for h in compared}
    for each in found.scored:
        h = found.branches[each.cell.branch].hypothesis
        if h in cells:
            cells[h].append(each)
    first: dict[int, int] = {}
    for number, branch in enumerate(found.branches):
        first.setdefault(branch.hypothesis, number)
    ways = []
    for of, (h, mine) in enumerate(cells.items()):
        before = -1, -1
        for (number, low, high), share in _left(mine):
            branch, count = found.branches[number], min(max(1, round(share * POINTS)), 1 + high - low)
            for k in range(count):
                severity = low + int((k + 0.5) * (1 + high - low) / count)
                name = found.hypotheses[h].name, number - first[h], float(branch.where[severity])
                follows = k > 0 or before == (number, low - 1)
                ways.append(_Way(name, (branch, severity), of, share / count, follows))
            before = number, high
    return ways


def _left(cells: Sequence[Scored]) -> list[tuple[tuple[int, int, int], float]]:
    """Return what readings leave of a hypothesis: runs of severities, each with its branch, and their shares."""
    log = np.array([each.log + np.log(each.cell.weight) for each in cells])
    shares: dict[tuple[int, int, int], float] = {}
    for each, share in zip(cells, np.exp(log - np.logaddexp.reduce(log)).tolist(), strict=True):
        run = each.cell.branch, *each.cell.ends
        shares[run] = shares.get(run, 0.0) + share
    likely = sorted(shares.items(), key=lambda item: -item[1])[:MOST_WAYS]
    return sorted(item for k, item in enumerate(likely) if k == 0 or item[1] > LEAST_SHARE)
