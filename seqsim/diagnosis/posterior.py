"""From the fits of cells to probabilities: hypotheses, none of these, and which readings may be slips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.diagnosis.cells import Scored
from seqsim.diagnosis.hypotheses import NONE_PRIOR, Hypothesis
from seqsim.diagnosis.likelihood import misfits
from seqsim.diagnosis.predict import Branch
from seqsim.diagnosis.spread import Noise
from seqsim.network.network import Floats

SIMULATED = 600
"""Boards that are drawn under the leading hypothesis to see how odd the readings are."""
BEYOND = 8.0
"""Beyond the oddest of them, the chance falls by e for this much more misfit."""
NONE_SCALE, NONE_POWER = 0.2, -0.8
"""Bayes factor of none of these: 0.2 p^-0.8 for readings of oddness p (found by trial)."""


@dataclass(frozen=True)
class Posterior:
    """Probabilities of hypotheses (h,), of none of these, of each reading being a slip (r,), and the best cells.

    ``best`` maps a hypothesis to its most likely cell; ``evidence`` (h,) is the logarithm of each likelihood.
    """

    probability: Floats
    none: float
    slip: Floats
    best: dict[int, Scored]
    evidence: Floats


def posterior(
    hypotheses: Sequence[Hypothesis], branches: Sequence[Branch], scored: Sequence[Scored], noise: Noise, slip: Floats
) -> Posterior:
    """Weigh the cells by their priors; what no cell of the leading hypothesis would often show is none of these."""
    count = len(hypotheses)
    evidence = np.full(count, -np.inf)
    best: dict[int, Scored] = {}
    top: dict[int, float] = {}
    mine: dict[int, list[Scored]] = {}
    for each in scored:
        h = branches[each.cell.branch].hypothesis
        value = each.log + np.log(each.cell.weight)
        evidence[h] = np.logaddexp(evidence[h], value)
        mine.setdefault(h, []).append(each)
        if value > top.get(h, -np.inf):
            top[h], best[h] = value, each
    prior = np.array([hypothesis.prior for hypothesis in hypotheses])
    joint = evidence + np.log(prior)
    if not np.isfinite(joint).any():
        return Posterior(np.zeros(count), 1.0, np.zeros(len(slip)), best, evidence)
    probability = np.exp(joint - np.logaddexp.reduce(joint))
    numbers = np.flatnonzero(noise.number)
    leader = int(np.argmax(probability))
    none = none_of_these(oddness(mine[leader], noise, slip)) if len(numbers) else none_of_these(1.0)
    slips = np.zeros(len(slip))
    for h, cells in mine.items():
        if probability[h] < 1e-6:
            continue
        logs = np.array([c.log + np.log(c.cell.weight) for c in cells])
        share = probability[h] * np.exp(logs - np.logaddexp.reduce(logs))
        for weight, cell in zip(share, cells, strict=True):
            slips[numbers] += weight * np.exp(cell.fit.slips - cell.fit.log)
    return Posterior(probability * (1 - none), none, slips, best, evidence)


def oddness(cells: Sequence[Scored], noise: Noise, slip: Floats) -> float:
    """Return the share of boards under a hypothesis whose readings fit it worse than these do."""
    numbers = np.flatnonzero(noise.number)
    observed = min(cell.fit.misfit for cell in cells)
    random = np.random.default_rng(20260101)
    weights = np.array([cell.cell.weight for cell in cells])
    drawn = random.choice(len(cells), SIMULATED, p=weights / weights.sum())
    grid = np.ix_(numbers, numbers)
    precisions: list[Floats] = [np.asarray(np.linalg.inv(cell.covariance[grid])) for cell in cells]
    boards = np.zeros((SIMULATED, len(numbers)))
    for k, cell in enumerate(cells):
        chosen = np.flatnonzero(drawn == k)
        if len(chosen):
            boards[chosen] = random.multivariate_normal(
                cell.cell.mean[numbers], cell.covariance[grid], len(chosen), check_valid="ignore", method="cholesky"
            )
    slipped = random.random(boards.shape) < slip[numbers]
    middle = (boards.max(axis=0) + boards.min(axis=0)) / 2
    astray = middle + (random.random(boards.shape) - 0.5) * noise.span[numbers]
    boards = np.where(slipped, astray, boards)
    simulated = np.full(SIMULATED, np.inf)
    for cell, precision in zip(cells, precisions, strict=True):
        residual = boards - cell.cell.mean[numbers]
        simulated = np.minimum(simulated, misfits(residual, precision, slip[numbers], noise.span[numbers]))
    worst = float(simulated.max())
    if observed > worst:
        return float(0.5 / (SIMULATED + 1) * np.exp(-(observed - worst) / BEYOND))
    return float((np.sum(simulated >= observed) + 0.5) / (SIMULATED + 1))


def none_of_these(oddness: float) -> float:
    """Return the probability of none of these for readings of a given oddness under the best hypothesis."""
    factor = NONE_SCALE * max(oddness, 1e-300) ** NONE_POWER
    return float(NONE_PRIOR * factor / (NONE_PRIOR * factor + 1 - NONE_PRIOR))
