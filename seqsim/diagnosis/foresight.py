"""What the readings on offer may show, given those that were taken: for each way a board may look, a Gaussian.

The ways to look are those of a diagnosis, worked out for the readings taken and those on offer together: what was read
weighs them, and moves what is expected elsewhere by what parts, device laws and severities have in common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.alike import Alike, look_alikes, own_deviation
from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.cells import RESTLESS_SHARE, Cell, cells_of, limits_of, rough
from seqsim.diagnosis.conditions import Desk, conditions, desk
from seqsim.diagnosis.hypotheses import Hypothesis, Sort, listed
from seqsim.diagnosis.likelihood import conditional, fit
from seqsim.diagnosis.predict import Branch, Predictions, Predictor
from seqsim.diagnosis.rank import Diagnosis
from seqsim.diagnosis.shelf import kept_or
from seqsim.diagnosis.spread import Noise, followed, model_latents, noise
from seqsim.diagnosis.steep import believed
from seqsim.faults import History
from seqsim.network.network import Floats, Ints
from seqsim.readings import Reading
from seqsim.readings.measurement import Measurement
from seqsim.readings.outcome import below

COVERED, MOST_LEADERS, MOST_AT_FIRST = 0.995, 60, 600
"""Hypotheses that are looked at: the likeliest that hold this share; no more than so many, before any reading more."""
MODES = 3
"""Ways of something at a place, or of several faults at once, that are looked at."""
POINTS, POINTS_AT_FIRST = 6, 3
"""Severities of each way to look."""
MOST_CELLS = 500
LEAST_SHARE = 1e-4
"""Ways to look that are less likely than this, or beyond so many, are left out."""
ROUGH_SPREAD = 0.02
"""Spread of a prediction, as a share, before sensitivities are known."""
HEALTHY = 0
"""Number of the hypothesis that nothing is broken."""
SLIPPED = 0.5
"""A reading that is a slip with more than this chance tells nothing about others."""


@dataclass(frozen=True)
class Standing:
    """Where a diagnosis stands: hypotheses with their probabilities (h,), and the readings taken (r)."""

    desk: Desk
    hypotheses: tuple[Hypothesis, ...]
    probability: Floats
    none: float
    alike: Alike
    readings: tuple[Reading, ...] = ()
    found: Diagnosis | None = None

    @classmethod
    def of(cls, found: Diagnosis, readings: Sequence[Reading]) -> Standing:
        """Return the standing after readings."""
        return cls(
            found.desk, found.hypotheses, found.posterior.probability, found.posterior.none, found.alike,
            tuple(readings), found,
        )  # fmt: skip

    @classmethod
    def before(
        cls, circuit: Circuit, at: Desk | None = None, alike: Alike | None = None, history: History | None = None
    ) -> Standing:
        """Return the standing before any reading: the priors of the list, tilted by a history."""
        made = at or desk(circuit)
        hypotheses = listed(circuit, history)
        prior = np.array([hypothesis.prior for hypothesis in hypotheses])
        return cls(
            made, hypotheses, prior / prior.sum(), 0.0,
            alike or kept_or(circuit, lambda: look_alikes(made, hypotheses), history.listing if history else ""),
        )  # fmt: skip

    @property
    def circuit(self) -> Circuit:
        """Return the board."""
        return self.desk.circuit

    @property
    def measurements(self) -> tuple[Measurement, ...]:
        """Return the readings taken, ready for prediction."""
        return () if self.found is None else self.found.measurements

    @property
    def slips(self) -> Floats:
        """Return the chance (r,) that each reading is a slip."""
        return np.zeros(0) if self.found is None else self.found.posterior.slip

    def predictor(self, measurements: Sequence[Measurement]) -> Predictor:
        """Return what predicts readings; whoever advises on many boards of one circuit may keep what it finds."""
        return Predictor(self.desk, conditions(measurements), len(measurements))

    def sensitive(self, measurements: Sequence[Measurement]) -> Predictor:
        """Return what predicts readings, and how what spreads moves them."""
        known, _, _ = model_latents(self.desk.network)
        return Predictor(replace(self.desk, network=known), conditions(measurements), len(measurements))

    def state(self) -> str:
        """Return the power state of the last reading: the board is still in it."""
        return self.readings[-1].state if self.readings else OFF

    def leaders(self) -> list[int]:
        """Return the hypotheses that hold nearly all, the likeliest first, and a healthy board."""
        order = np.argsort(-self.probability, kind="stable")
        held = np.cumsum(self.probability[order]) / max(float(self.probability.sum()), 1e-300)
        most = MOST_LEADERS if self.readings else MOST_AT_FIRST
        leading = [int(h) for h in order[: min(int(np.searchsorted(held, COVERED)) + 1, most)]]
        return leading if HEALTHY in leading else [*leading, HEALTHY]


@dataclass(frozen=True)
class Ways:
    """Ways to look: branches with their hypothesis (b,) in the standing, and nominal predictions of all columns."""

    branches: tuple[Branch, ...]
    of: Ints
    predictions: Predictions
    weight: Floats
    """(i,) probability of each item, roughly; adds up to one"""

    def healthy(self, column: int) -> float:
        """Return the tip volts of a reading on a nominal healthy board."""
        item = int(np.argmax(self.of[self.predictions.branch] == HEALTHY))
        return float(self.predictions.tips[item, column])


@dataclass(frozen=True)
class Foresight:
    """What readings on offer may show: ways to look with their probability (c,) and hypothesis (c,).

    ``mean`` and ``deviation`` (c, q) are tip volts, given the readings taken; ``least`` and ``most`` (q,) those of any
    nominal board.
    """

    weight: Floats
    of: Ints
    mean: Floats
    deviation: Floats
    least: Floats
    most: Floats

    def within(self, k: int, low: float, high: float) -> Floats:
        """Return the probability (c,) of each way to look with the ``k``-th reading between two tip volts."""
        mean, wide = self.mean[:, k], self.deviation[:, k]
        return self.weight * (below(high, 0.0, mean, wide) - below(low, 0.0, mean, wide))


def ways(standing: Standing, offered: Sequence[Measurement]) -> Ways:
    """Return the ways to look of the leading hypotheses, predicted for the readings taken and those on offer."""
    leaders = standing.leaders()
    every = (*standing.measurements, *offered)
    states = list(dict.fromkeys(each.state for each in every))
    single = [h for h in leaders if standing.hypotheses[h].sort in (Sort.HEALTHY, Sort.LISTED)]
    points = POINTS if standing.readings else POINTS_AT_FIRST
    branches = branches_of(standing.desk, [standing.hypotheses[h] for h in single], states, points)
    of = [single[branch.hypothesis] for branch in branches]
    for branch in _of_many_modes(standing, set(leaders) - set(single)):
        branches.append(replace(branch, points=points, quantiles=()))
        of.append(branch.hypothesis)
    predictions = standing.predictor(every).nominal(branches)
    own = np.array(of, dtype=np.int64)
    return Ways(tuple(branches), own, predictions, _rough_weight(standing, branches, own, predictions))


def _of_many_modes(standing: Standing, wanted: set[int]) -> list[Branch]:
    """Return the likeliest ways of something at a place, and of several faults at once."""
    found = standing.found
    if found is None:
        return []
    total: dict[int, dict[int, float]] = {}
    for each in found.scored:
        h = found.branches[each.cell.branch].hypothesis
        if h in wanted:
            mine = total.setdefault(h, {})
            mine[each.cell.branch] = np.logaddexp(
                mine.get(each.cell.branch, -np.inf), each.log + np.log(each.cell.weight)
            )
    chosen = []
    for mine in total.values():
        chosen += [found.branches[b] for b in sorted(mine, key=mine.__getitem__, reverse=True)[:MODES]]
    return chosen


def _rough_weight(standing: Standing, branches: Sequence[Branch], of: Ints, predictions: Predictions) -> Floats:
    """Return the probability (i,) of every item: that of its hypothesis, shared by how the readings fit."""
    count = np.array([len(branch.severities) for branch in branches], dtype=np.float64)
    weight = np.array([branch.weight for branch in branches])
    log = np.log(np.maximum(weight / count, 1e-300))[predictions.branch]
    taken = len(standing.measurements)
    if standing.found is not None and taken:
        log = log - rough(_columns(predictions, np.arange(taken)), standing.found.noise) / 2
    log = np.where(predictions.good, log, -np.inf)
    return _shared(log, of[predictions.branch], standing.probability)


def _shared(log: Floats, of: Ints, probability: Floats) -> Floats:
    """Return weights that add up to one: each hypothesis shares its probability among its own."""
    weight = np.zeros(len(log))
    for h in np.unique(of):
        mine = of == h
        top = log[mine].max()
        if np.isfinite(top):
            share = np.exp(log[mine] - top)
            weight[mine] = probability[h] * share / share.sum()
    total = float(weight.sum())
    return weight / total if total > 0 else weight


def _columns(predictions: Predictions, columns: Ints) -> Predictions:
    return Predictions(
        predictions.branch, predictions.severity, predictions.tips[:, columns], predictions.ohms[:, columns],
        predictions.restless[:, columns], predictions.good,
    )  # fmt: skip


def glance(standing: Standing, seen: Ways, offered: Sequence[Measurement]) -> Foresight:
    """Return what each reading on offer may show by nominal predictions alone."""
    taken = len(standing.measurements)
    kept = np.flatnonzero(seen.weight > LEAST_SHARE * seen.weight.max())
    tips = seen.predictions.tips[kept, taken:]
    restless = seen.predictions.restless[kept, taken:]
    deviation = np.stack([own_deviation(each, tips[:, k]) for k, each in enumerate(offered)], axis=1)
    span = tips.max(axis=0) - tips.min(axis=0)
    deviation = np.sqrt(deviation**2 + (ROUGH_SPREAD * tips) ** 2 + (RESTLESS_SHARE * span * restless) ** 2)
    weight = seen.weight[kept]
    of = seen.of[seen.predictions.branch[kept]]
    return Foresight(weight / weight.sum(), of, tips, deviation, tips.min(axis=0), tips.max(axis=0))


def foresee(standing: Standing, seen: Ways, offered: Sequence[Measurement], chosen: Ints) -> Foresight:
    """Return what the ``chosen`` (q,) of the readings on offer may show, given those taken."""
    taken = len(standing.measurements)
    columns = np.concatenate([np.arange(taken), taken + chosen])
    picked = [offered[k] for k in chosen]
    every = (*standing.measurements, *picked)
    predictions = _columns(seen.predictions, columns)
    cells = _likely(list(cells_of(predictions, seen.branches, _present(predictions), limits_of(every))), seen)
    _, latents, _ = model_latents(standing.desk.network)
    predictor = standing.sensitive(every)
    moves = predictor.moves([seen.branches[c.branch] for c in cells], [c.middle for c in cells], latents)
    least, most = predictions.tips[predictions.good].min(axis=0), predictions.tips[predictions.good].max(axis=0)
    span = most - least
    moves = believed(moves, span) - followed(every, latents.size)
    known = standing.found
    around = noise((), (), np.zeros((0, 0))) if known is None else known.noise
    slip = np.zeros(0) if known is None else known.slip
    fresh = np.stack(
        [own_deviation(each, np.array([c.mean[taken + k] for c in cells])) for k, each in enumerate(picked)]
    )
    log, mean, deviation = [], [], []
    for k, (cell, move) in enumerate(zip(cells, moves, strict=True)):
        covariance = move @ move.T + cell.own + np.diag((RESTLESS_SHARE * span * cell.restless) ** 2)
        covariance[:taken, :taken] += around.covariance
        value, at, wide = _given(cell, covariance, around, slip)
        at = np.clip(at, least[taken:], most[taken:])  # no line leads beyond what any board shows
        log.append(value + np.log(max(cell.weight, 1e-300)))
        mean.append(at)
        deviation.append(np.hypot(wide, fresh[:, k]))
    of = seen.of[[cell.branch for cell in cells]]
    weight = _shared(np.array(log), of, standing.probability)
    return Foresight(weight, of, np.array(mean), np.array(deviation), least[taken:], most[taken:])


def _present(predictions: Predictions) -> Ints:
    return np.unique(predictions.branch)


def _likely(cells: list[Cell], seen: Ways) -> list[Cell]:
    """Return the cells that can matter, by the rough weight of their middle point and of what they stand for."""
    points = np.bincount(seen.predictions.branch, minlength=len(seen.branches))
    first = np.searchsorted(seen.predictions.branch, [cell.branch for cell in cells])
    rough_weight = np.array([
        seen.weight[at + cell.middle] * cell.weight * points[cell.branch]
        / max(seen.branches[cell.branch].weight, 1e-300)
        for cell, at in zip(cells, first, strict=True)
    ])  # fmt: skip
    order = np.argsort(-rough_weight, kind="stable")[:MOST_CELLS]
    least = LEAST_SHARE * rough_weight.max()
    return [cells[k] for k in sorted(order) if rough_weight[k] > least]


def _given(cell: Cell, covariance: Floats, around: Noise, slip: Floats) -> tuple[float, Floats, Floats]:
    """Return the log likelihood of what was read in a cell, and what is then expected of the rest.

    ``slip`` (t,) are the chances that those taken are slips. One that likely is in this cell says nothing of the rest.
    """
    taken = len(slip)
    numbers = np.flatnonzero(around.number)
    wanted = np.arange(taken, len(cell.mean))
    grid = np.ix_(numbers, numbers)
    result = fit(
        around.observed[numbers], cell.mean[numbers], covariance[grid], slip[numbers],
        around.span[numbers],
    )  # fmt: skip
    trusted = numbers[np.exp(np.minimum(result.slips - result.log, 0.0)) < SLIPPED] if len(numbers) else numbers
    at, wide = conditional(covariance, cell.mean, around.observed[trusted], trusted, wanted)
    return result.log, at, wide
