"""What would be believed without each one of the readings, with no new diagnosis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.likelihood import without_each
from seqsim.network.network import Floats

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

BEHIND = 60.0
"""Logarithm by which a cell may lie behind the best and still matter: a single reading costs far less, since any may be
a slip."""


def probability_without(found: Diagnosis) -> Floats:
    """Return the probabilities (r, h) of hypotheses without each one of the readings, none of these left aside.

    What else is known of a hypothesis (prior, what was seen over time) stays.
    """
    noise, posterior = found.noise, found.posterior
    best = max(each.log for each in found.scored)
    scored = [each for each in found.scored if each.log > best - BEHIND]
    numbers = np.flatnonzero(noise.number)
    words = np.array([each.words for each in scored])
    left = np.array([[each.log] for each in scored]) - words
    left[:, numbers] = words.sum(axis=1, keepdims=True) + without_each(
        noise.observed[numbers], np.array([each.cell.mean[numbers] for each in scored]),
        np.array([each.covariance[np.ix_(numbers, numbers)] for each in scored]),
        found.slip[numbers], noise.span[numbers],
    )  # fmt: skip
    evidence = np.full((len(found.hypotheses), left.shape[1]), -np.inf)
    of = [found.branches[each.cell.branch].hypothesis for each in scored]
    np.logaddexp.at(evidence, of, left + np.log([[each.cell.weight] for each in scored]))
    known = np.flatnonzero(posterior.probability)
    log = evidence[known] - posterior.evidence[known, None] + np.log(posterior.probability[known, None])
    weight = np.zeros(evidence.shape)
    weight[known] = np.exp(log - log.max(axis=0))
    return np.asarray((weight / weight.sum(axis=0)).T)
