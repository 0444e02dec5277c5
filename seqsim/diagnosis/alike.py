"""Look-alikes: faults that no single reading on offer tells apart.

Two faults are alike when for every reading on offer the chance of mistaking one for the other at equal odds,
½ ∫ min(p, q), is above a fifth. Of a fault that hides on some boards those count on which it shows itself: else two
faults would be alike for what they both hide. Healthy is like those alone that hardly ever show themselves. Groups are
formed by complete linkage: every two members are alike, and the most alike are joined first.

Before any reading a fault stands for all its severities and ways to look; what readings leave of them is told by
`left_alike`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.conditions import Condition, Desk, conditions
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.spread import RESIDUAL_OHMS, RESIDUAL_SHARE, RESIDUAL_TEST, RESIDUAL_VOLTS, model_latents
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings import METER, Meter, Probe, measurement
from seqsim.readings.measurement import Measurement
from seqsim.readings.outcome import normal_below

MISTAKEN = 0.2
"""Chance of a mistake above which a reading does not tell two faults apart."""
SOONER = (0.48, 0.4, 0.3)
"""Faults that are mistaken more often than this are joined before others: the same event never stands in two groups."""
APART = 1.19
"""Deviations of a difference from which a reading tells two values apart: √2 Φ⁻¹(1 - `MISTAKEN`), so that it mistakes
one for the other as seldom."""
LEAST_SEEN = 0.05
"""Share of a fault's boards that show it, below which it counts as one that is never seen."""
POINTS = 6
"""Severities of a fault, each as wide as the way to its neighbours."""
BINS = 120
GRID = np.linspace(-8, 8, 4097)
NORMAL = normal_below(GRID)
"""The normal distribution, so near that a straight line between two points errs by less than a millionth: h²/8 of the
greatest bend, 0.242."""
SAME_VOLTS = 1e-3
"""Predictions that differ by less are worked out once."""
UNLIKE_VOLTS = 1e3


@dataclass(frozen=True)
class Alike:
    """The group of each hypothesis, by name; healthy is called ````. Members are in the order of their priors."""

    group: Mapping[str, int]
    members: Mapping[int, tuple[str, ...]]

    @classmethod
    def of(cls, members: Mapping[int, tuple[str, ...]]) -> Alike:
        """Return the groups with these members."""
        return cls({name: group for group, names in members.items() for name in names}, members)

    def among(self, names: Iterable[str]) -> Alike:
        """Return the groups of these hypotheses; one that is not known gets a group of its own, after all others."""
        members: dict[int, list[str]] = {}
        fresh = max(self.members, default=-1) + 1
        for name in names:
            group = self.group.get(name, fresh)
            fresh += group == fresh
            members.setdefault(group, []).append(name)
        return Alike.of({group: tuple(mine) for group, mine in members.items()})


NOBODY = Alike.of({})
"""No groups."""


def on_offer(circuit: Circuit) -> Iterator[Probe]:
    """Yield the readings that anyone would take: every net, and both sides of copper, powered and not."""
    hidden = {name for name, point in circuit.probe_points.items() if point.hidden}
    nets = [net for net in circuit.nets() if net not in circuit.grounds]
    far = [copper.touch[0] for copper in circuit.copper.values()] + [c.touch[1] for c in circuit.copper.values()]
    places = [place for place in dict.fromkeys([*nets, *far]) if place not in hidden]
    for place in places:
        for state in circuit.power_states:
            if state != OFF:
                yield Probe(kind="volts", place=place, state=state)
        yield Probe(kind="ohms", place=place, state=OFF)


def look_alikes(
    at: Desk, hypotheses: Sequence[Hypothesis], meter: Meter = METER, offered: Iterable[Probe] | None = None
) -> Alike:
    """Return the groups of hypotheses of one mode each (healthy and the listed faults).

    ``offered`` are the readings that can be had, if not all that anyone would take.
    """
    single = [h for h in hypotheses if h.fault is not None or not h.name]
    measurements = [
        measurement(at.circuit, probe, meter) for probe in (on_offer(at.circuit) if offered is None else offered)
    ]
    branches = branches_of(at, single, [each.state for each in measurements], POINTS)
    weights = np.concatenate([branch.weight * branch.shares for branch in branches])
    of = np.repeat([branch.hypothesis for branch in branches], [len(branch.shares) for branch in branches])
    shown = [each for condition in conditions(measurements) for each in _shown(at, branches, condition, measurements)]
    mistaken = mistakes(shown, of, weights, np.array([not each.name for each in single]))
    return Alike.of(grouped([each.name for each in single], [each.prior for each in single], mistaken))


Shown = tuple[Floats, Floats]
"""What one reading shows on every item: tip volts (i,) and their standard deviations (i,)."""


def mistakes(shown: Sequence[Shown], of: Ints, weights: Floats, healthy: Bools) -> Floats:
    """Return the chance (h, h) of mistaking one hypothesis for another by the reading that best tells them apart.

    Parameters
    ----------
    shown
        What each reading shows on every item.
    of, weights
        The hypothesis (i,) of every item, in ascending order, and its weight (i,) within that.
    healthy
        Which hypotheses (h,) are a board without a fault.
    """
    count = len(healthy)
    seen = _seen(shown, healthy[of])
    share = np.bincount(of, weights * seen, count) / np.bincount(of, weights, count)
    hidden = share < LEAST_SEEN
    counted = np.flatnonzero(seen | hidden[of])
    start = np.searchsorted(of[counted], np.arange(count))
    mistaken = np.where(np.logical_or.outer(healthy, healthy) & ~np.logical_and.outer(hidden, hidden), 0.0, 0.5)
    for tips, deviation in shown:
        kinds, which = _kinds(tips[counted], deviation[counted], weights[counted], start)
        np.minimum(mistaken, _mistaken(kinds)[np.ix_(which, which)], out=mistaken)
    return mistaken


def _shown(
    at: Desk, branches: Sequence[Branch], condition: Condition, measurements: Sequence[Measurement]
) -> Iterator[Shown]:
    """Yield for each reading of a condition what it shows on every item."""
    local = condition.alone()
    predictor = Predictor(at, [local], len(condition.readings))
    nominal = predictor.nominal(branches)
    known, latents, _ = model_latents(at.network)
    sensitive = Predictor(Desk(at.circuit, known, at.benches), [local], len(condition.readings))
    moves = sensitive.moves(branches, [len(b.severities) // 2 for b in branches], latents)
    spread = np.sqrt((moves**2).sum(axis=2))
    for column, number in enumerate(condition.readings):
        each = measurements[number]
        # a fault without a level there reads like no other
        tips = np.where(nominal.good, nominal.tips[:, column], UNLIKE_VOLTS * (1 + nominal.branch))
        joined = (np.diff(nominal.branch) == 0) & nominal.good[:-1] & nominal.good[1:]
        own = np.hypot(own_deviation(each, tips), smear(tips, joined))
        yield tips, np.hypot(np.nan_to_num(spread[nominal.branch, column], posinf=UNLIKE_VOLTS), own)


def _seen(shown: Iterable[tuple[Floats, Floats]], healthy: Bools) -> Bools:
    """Tell which items (i,) some reading tells from every ``healthy`` one."""
    seen = np.zeros(len(healthy), dtype=np.bool_)
    for tips, deviation in shown if healthy.any() else ():
        away = np.abs(tips[:, None] - tips[healthy]) / np.hypot(deviation[:, None], deviation[healthy])
        seen |= away.min(axis=1) > APART
    return seen


def own_deviation(each: Measurement, tips: Floats) -> Floats:
    """Return the standard deviation (i,) that meter and model leave at predicted tip volts."""
    residual, share = RESIDUAL_VOLTS, RESIDUAL_SHARE
    if each.kind.by_share:
        residual, share = (0.0, RESIDUAL_OHMS) if each.kind.live else (RESIDUAL_TEST, RESIDUAL_SHARE)
    shown = np.asarray(each.convert(tips), dtype=np.float64)
    slope = np.abs(np.asarray(each.slope(tips), dtype=np.float64))
    with np.errstate(invalid="ignore", divide="ignore"):
        digits = np.hypot(each.noise_sd(shown), each.gain_sd(shown) * np.abs(shown)) / slope
    digits = np.where(np.isfinite(digits), digits, 0.0)
    return np.asarray(np.hypot(digits, np.maximum(residual, share * np.abs(tips))))


def smear(tips: Floats, joined: Bools) -> Floats:
    """Return the standard deviation (i,) of a reading within the share of severities for which each item stands.

    ``joined`` (i - 1,) tells which items have the next severity after them.
    """
    half = np.where(joined, np.diff(tips), 0.0) / 2
    whole = np.concatenate([half, [0.0]]) + np.concatenate([[0.0], half])
    return np.asarray(np.abs(whole) / np.sqrt(12))


Mixture = tuple[Floats, Floats, Floats]
"""Means, deviations and weights (k,) of what a reading may show, a Gaussian each."""


def _kinds(tips: Floats, deviation: Floats, weights: Floats, start: Ints) -> tuple[list[Mixture], Ints]:
    """Return the different mixtures of a reading, and which one each hypothesis has; its items begin at ``start``."""
    seen: dict[bytes, int] = {}
    kinds: list[Mixture] = []
    which = np.zeros(len(start), dtype=np.int64)
    alike = np.round(np.stack([tips / SAME_VOLTS, 4 * np.log2(deviation), weights * 1e6], axis=1))
    for k, (low, high) in enumerate(pairwise([*start.tolist(), len(tips)])):
        key = alike[low:high].tobytes()
        if key not in seen:
            seen[key] = len(kinds)
            kinds.append((tips[low:high], deviation[low:high], weights[low:high]))
        which[k] = seen[key]
    return kinds, which


def _mistaken(kinds: Sequence[Mixture]) -> Floats:
    """Return the chance of a mistake (k, k) between mixtures, at equal odds."""
    means, deviations, weights = (np.concatenate(parts) for parts in zip(*kinds, strict=True))
    start = np.cumsum([0, *(len(mean) for mean, _, _ in kinds[:-1])])
    marks = np.concatenate([means - 1.5 * deviations, means, means + 1.5 * deviations])
    edges = np.unique(np.quantile(marks, np.linspace(0, 1, BINS), method="nearest"))
    below = np.interp((edges - means[:, None]) / deviations[:, None], GRID, NORMAL) * weights[:, None]
    below = np.add.reduceat(below, start) / np.add.reduceat(weights, start)[:, None]
    mass = np.diff(below, axis=1, prepend=0.0, append=1.0)
    return np.stack([np.minimum(mass, row).sum(axis=1) for row in mass]) / 2


def grouped(names: Sequence[str], chances: Sequence[float], mistaken: Floats) -> dict[int, tuple[str, ...]]:
    """Return groups whose members are all alike, those that are most alike joined first.

    Where a fault is as much like one group as like another, as one that leaves an input floating is, it joins the
    likelier by ``chances``: a clustering that knows none would leave that to luck. Healthy is in the first group.
    """
    order = sorted(range(len(names)), key=lambda k: (names[k] != "", -chances[k]))
    groups = [[k] for k in order]
    for least in (*SOONER, MISTAKEN):
        joined: list[list[int]] = []
        of = np.full(len(names), -1)
        for group in groups:
            likeness = np.full(len(joined) + 1, 0.5)
            placed = of >= 0
            np.minimum.at(likeness, of[placed], mistaken[group].min(axis=0)[placed])
            likeness[-1] = 0.0
            best = int(np.argmax(likeness))
            if likeness[best] > least:
                joined[best].extend(group)
            else:
                best = len(joined)
                joined.append(list(group))
            of[group] = best
        groups = joined
    return {g: tuple(names[k] for k in group) for g, group in enumerate(groups)}
