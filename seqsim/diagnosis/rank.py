"""Readings in, ranked faults out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import Circuit
from seqsim.diagnosis.alike import Alike, look_alikes
from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.cells import Scored, cells_of, in_the_running, leading, limits_of, score
from seqsim.diagnosis.conditions import Desk, conditions, desk
from seqsim.diagnosis.hypotheses import Hypothesis, anything, listed
from seqsim.diagnosis.posterior import Posterior, posterior
from seqsim.diagnosis.predict import Branch, Predictions, Predictor
from seqsim.diagnosis.report import ranking
from seqsim.diagnosis.result import Ranking
from seqsim.diagnosis.shelf import kept_or
from seqsim.diagnosis.spread import Noise, model_latents, noise
from seqsim.diagnosis.steep import spread_out
from seqsim.network.network import Floats, Ints
from seqsim.readings import Reading, Readings, measurement
from seqsim.readings.measurement import Measurement

SLIP = 0.01
"""Chance that a reading is a slip: a wrong pin, a wrong range, a wrong line."""
SLIP_REPEATED = 1e-4
"""The same once a reading was taken twice and came out alike."""
COMMON_WITHIN, COMMON_SHARE = 0.2, 0.02
"""A level is common when this share of all branches comes this near to it (our judgement)."""
COARSE_POINTS, FINE_POINTS = 6, 32
"""Severities of a branch: to see whether it is in the running, and then."""


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
    alike: Alike


def rank(circuit: Circuit, readings: Readings, *, factors: Mapping[str, float] | None = None) -> Ranking:
    """Return the faults that explain what was measured.

    Parameters
    ----------
    circuit
        The board.
    readings
        What was measured, and with which meter.
    factors
        Factors on priors by kind, place or name of a fault.
    """
    return ranking(diagnose(circuit, readings, factors=factors), readings.readings)


def diagnose(
    circuit: Circuit,
    readings: Readings,
    *,
    factors: Mapping[str, float] | None = None,
    at: Desk | None = None,
    alike: Alike | None = None,
) -> Diagnosis:
    """Return a ranking with all that it rests on; ``at`` and ``alike`` save work that was done before."""
    at = at or desk(circuit)
    taken = readings.readings
    measurements = tuple(measurement(circuit, reading, readings.meter) for reading in taken)
    predictor = Predictor(at, conditions(measurements), len(measurements))
    states = [each.state for each in measurements]
    known, latents, keys = model_latents(at.network)
    slip = _slips(taken)

    known_faults = listed(circuit, factors)
    hypotheses = (*known_faults, *anything(circuit))
    branches = branches_of(at, known_faults, states, COARSE_POINTS)
    branches += [
        Branch(h, mode.weight, mode, COARSE_POINTS)
        for h, hypothesis in enumerate(hypotheses[len(known_faults) :], start=len(known_faults))
        for mode in hypothesis.modes
    ]
    coarse = predictor.nominal(branches)
    noisy = noise(measurements, predictor.conditions, coarse.tips[coarse.good])
    branches = _finer(branches, leading(coarse, noisy, len(branches))[0])
    predictions = predictor.nominal(branches)
    chosen, _ = leading(predictions, noisy, len(branches))
    healthy = [k for k, branch in enumerate(branches) if branch.hypothesis == 0]
    wanted = np.union1d(chosen, healthy).astype(np.int64)
    limits = limits_of(measurements)
    cells = in_the_running(list(cells_of(predictions, branches, wanted, limits)), branches, noisy)
    largest = _largest(measurements, coarse)
    predictor = Predictor(replace(at, network=known), predictor.conditions, len(measurements))
    moves = predictor.moves([branches[cell.branch] for cell in cells], [cell.middle for cell in cells], latents)
    cells, moves = spread_out(predictor, branches, cells, moves, latents, keys, limits, noisy)
    scored = score(predictions, cells, moves, measurements, noisy, slip, largest)
    weighed = posterior(hypotheses, branches, scored, noisy, slip)
    return Diagnosis(
        at, hypotheses, tuple(branches), measurements, noisy, tuple(scored), _healthy(scored, branches), weighed,
        alike or kept_or(circuit, lambda: look_alikes(at, known_faults)),
    )  # fmt: skip


def _healthy(scored: Sequence[Scored], branches: Sequence[Branch]) -> Scored | None:
    """Return the likeliest way a healthy board looks."""
    mine = [each for each in scored if branches[each.cell.branch].hypothesis == 0]
    return max(mine, key=lambda each: each.cell.weight, default=None)


def _finer(branches: Sequence[Branch], chosen: Ints) -> list[Branch]:
    """Return the branches in the running, and those of a healthy board, at fine severities."""
    kept = {int(k) for k in chosen} | {k for k, branch in enumerate(branches) if branch.hypothesis == 0}
    return [replace(branches[k], points=FINE_POINTS) for k in sorted(kept)]


def _slips(readings: Sequence[Reading]) -> Floats:
    """Return the chance of a slip of each reading: small where it was taken twice."""
    probes = [reading.probe() for reading in readings]
    return np.array([SLIP_REPEATED if probes.count(probe) > 1 else SLIP for probe in probes])


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
