"""Readings in, ranked faults out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from seqsim.circuit import Circuit
from seqsim.diagnosis.alike import NOBODY, Alike
from seqsim.diagnosis.cells import Scored, cells_of, gaps, in_the_running, leading, shared
from seqsim.diagnosis.conditions import Desk, desk
from seqsim.diagnosis.fitted import fitted
from seqsim.diagnosis.hypotheses import Hypothesis, Sort, anything, listed
from seqsim.diagnosis.known import history_known
from seqsim.diagnosis.left_alike import left_alike
from seqsim.diagnosis.posterior import Posterior, posterior
from seqsim.diagnosis.predict import Branch, Predictions
from seqsim.diagnosis.ratios import measured
from seqsim.diagnosis.reference import Calibration, compared
from seqsim.diagnosis.relinearise import relinearised
from seqsim.diagnosis.repeats import repeats
from seqsim.diagnosis.report import ranking
from seqsim.diagnosis.result import Judged, Ranking
from seqsim.diagnosis.several import with_sets
from seqsim.diagnosis.spread import Noise, followed, noise
from seqsim.diagnosis.steep import believed
from seqsim.diagnosis.stored import keep, load
from seqsim.diagnosis.table import Surveyed, Table
from seqsim.diagnosis.withheld import probability_without
from seqsim.faults import Factors, History
from seqsim.faults.together import SECOND
from seqsim.network.network import Floats
from seqsim.readings import Probe, Readings
from seqsim.readings.measurement import Measurement

CLOSER = 4
"""Rounds in which severities are taken closer together where the readings lie between them."""
COMMON_WITHIN, COMMON_SHARE = 0.2, 0.02
"""A level is common when this share of all branches comes this near to it (our judgement)."""


@dataclass(frozen=True)
class Diagnosis:
    """All that a ranking rests on: hypotheses with their branches, cells and probabilities."""

    desk: Desk
    hypotheses: tuple[Hypothesis, ...]
    branches: tuple[Branch, ...]
    measurements: tuple[Measurement, ...]
    noise: Noise
    scored: tuple[Scored, ...]
    healthy: Scored | None
    posterior: Posterior
    slip: Floats
    """(r,) chance of a slip of each reading"""
    largest: Floats
    """(r,) largest displayed value that is common among predictions"""
    history: History
    alike: Alike = NOBODY
    """faults that no reading on offer tells apart on this board"""
    reference: tuple[Judged, ...] = ()
    """readings of a known-good board beside what the drawing predicts"""
    calibration: Calibration | None = None
    """what they tell of values and device laws"""

    @cached_property
    def without(self) -> Floats:
        """Return the probabilities (r, h) of hypotheses without each one of the readings."""
        return probability_without(self)


def rank(circuit: Circuit, readings: Readings, *, factors: Factors | None = None) -> Ranking:
    """Return the faults that explain what was measured.

    Parameters
    ----------
    circuit
        The board.
    readings
        What was measured, and with which meter.
    factors
        A history, or factors on priors by kind, place or name of a fault (`several` tilts how often faults meet);
        what the readings tell of the board's history comes on top.
    """
    return ranking(diagnose(circuit, readings, factors=factors), readings.readings)


def diagnose(
    circuit: Circuit,
    readings: Readings,
    *,
    factors: Factors | None = None,
    at: Desk | None = None,
    alike: Alike | None = None,
    table: Table | None = None,
    offered: tuple[Probe, ...] = (),
) -> Diagnosis:
    """Return a ranking with all that it rests on.

    ``at`` and ``table`` save work that was done before; a table must be one of the same circuit, factors and probes,
    in the same order. ``alike`` are groups that are known, and ``offered`` the readings that can be had, if not all
    that anyone would take.
    """
    at = at or desk(circuit, stored=True)
    if factors is not None or alike is not None or table is not None or offered or readings.past is not None:
        return _diagnosed(circuit, readings, at, factors, alike, table, offered)
    if not (at.latest and at.circuit is circuit and at.latest[0][0] == readings):
        at.latest[:] = [(readings, _diagnosed(circuit, readings, at))]
    return at.latest[0][1]


def _diagnosed(
    circuit: Circuit,
    readings: Readings,
    at: Desk,
    factors: Factors | None = None,
    alike: Alike | None = None,
    table: Table | None = None,
    offered: tuple[Probe, ...] = (),
) -> Diagnosis:
    """Return the ranking, see `diagnose`."""
    taken = readings.readings
    measurements = measured(at, taken, readings.meter)
    history = history_known(circuit, readings, factors)
    table = table or table_of(at, measurements, history)
    count = len(table.branches)
    own = noise(measurements, table.predictor.conditions, table.coarse.tips[table.coarse.good])
    noisy, slip = repeats(taken, own)
    lean = followed(measurements, table.latents.size)
    healthy_tips, healthy_moves = table.healthy_lines()
    noisy = replace(noisy, shared=shared(believed(healthy_moves - lean, noisy.span), healthy_tips, noisy))
    predictions = table.fine(np.union1d(leading(table.coarse, noisy, count)[0], table.healthy))
    branches = list(table.branches)
    for _ in range(CLOSER):
        if not (wide := gaps(predictions, branches, noisy, table.limits)):
            break
        predictions, branches = table.closer(predictions, branches, wide)
    chosen = np.union1d(leading(predictions, noisy, count)[0], table.healthy).astype(np.int64)
    cells = list(cells_of(predictions, branches, chosen, table.limits))
    good_board, known = compared(at, readings)
    largest = _largest(measurements, table.coarse)
    drawn, scored = fitted(
        in_the_running(cells, branches, noisy), lambda some: table.spread(some, branches),
        measurements, noisy, slip, largest, known,
    )  # fmt: skip
    scored = relinearised(scored, drawn, branches, table, measurements, noisy, slip, largest, known)
    weighed = posterior(table.hypotheses, branches, scored, noisy, slip)
    found = Diagnosis(
        at, table.hypotheses, tuple(branches), measurements, noisy, tuple(scored),
        _healthy(scored, branches), weighed, slip, largest, history, reference=good_board, calibration=known,
    )  # fmt: skip
    found = with_sets(found, table, min(1.0, SECOND * history.several))
    groups = left_alike(found, table.surveyed.looks(offered)) if alike is None else alike
    if at.stored:
        keep(at, table.surveyed, table.predictor.conditions)
    return replace(found, alike=groups.among(h.name for h in found.hypotheses if h.sort is not Sort.PLACE))


def table_of(at: Desk, measurements: Sequence[Measurement], factors: Factors | None = None) -> Table:
    """Return the predictions of all hypotheses for a set of readings, whatever values are read."""
    known, others = listed(at.circuit, factors), anything(at.circuit)
    states = tuple(state for state in at.circuit.power_states if any(each.state == state for each in measurements))
    key = (states, tuple(hypothesis.name for hypothesis in known))
    if key not in at.surveyed:
        stored = load(at, known, others, states) if at.stored else None
        at.surveyed[key] = stored or Surveyed.of(at, known, others, states)
    return Table.of(at, known, others, measurements, at.surveyed[key])


def _healthy(scored: Sequence[Scored], branches: Sequence[Branch]) -> Scored | None:
    """Return the likeliest way a healthy board looks."""
    mine = [each for each in scored if branches[each.cell.branch].hypothesis == 0]
    return max(mine, key=lambda each: each.cell.weight, default=None)


def _largest(measurements: Sequence[Measurement], predictions: Predictions) -> Floats:
    """Return the largest displayed value that is common among the predictions of each reading.

    `high` is meant in the terms of a node's own swing: the few branches that join it to a far supply do not count.
    """
    tips = predictions.tips[predictions.good & ~predictions.restless.any(axis=1)]
    return np.array([_common(each.convert(tips[:, k])) for k, each in enumerate(measurements)])


def _common(shown: Floats) -> float:
    """Return the largest value that has its share of all others within a fifth of it."""
    values = np.sort(shown[np.isfinite(shown)])
    low = np.searchsorted(values, values * (1 - COMMON_WITHIN))
    high = np.searchsorted(values, values * (1 + COMMON_WITHIN), side="right")
    common = values[(high - low >= COMMON_SHARE * len(values)) & (values > 0)]
    return float(common[-1]) if len(common) else float(values[-1]) if len(values) else 1.0
