"""The pillars of a claim: readings without which, each by itself, it would fall.

Slips are allowed for in every likelihood, as values that lie anywhere. A meter at the wrong place shows what is right
there, though, and that is often just what another fault would show here. So a claim that one reading alone bears is
held only once that reading was taken twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.likelihood import SLIP, without_each
from seqsim.diagnosis.repeats import settled
from seqsim.diagnosis.report import doubtful
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings import Probe, Reading

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

CONTRADICTED, DOUBTFUL, BEARS_ALONE = "contradicted", "doubtful", "bears_alone"
"""Why a reading is to be taken once more."""


def likely_slips(found: Diagnosis, readings: Sequence[Reading]) -> dict[Probe, str]:
    """Return the readings that likely are slips, with the reason to take them once more."""
    return {
        readings[k].probe(): CONTRADICTED if found.slip[k] > SLIP else DOUBTFUL
        for k in np.flatnonzero(doubtful(found, readings)).tolist()
    }


def unproven(found: Diagnosis, readings: Sequence[Reading], of: Ints, claimed: int) -> dict[Probe, str]:
    """Return the readings to take once more before an answer is given, with the reason.

    ``of`` (h,) is the class of each hypothesis, ``claimed`` the class that is the answer.
    """
    once = ~settled(readings, found.slip)
    told = {CONTRADICTED: once & (found.slip > SLIP), BEARS_ALONE: once & pillars(found, of, claimed)}
    return {readings[k].probe(): why for why, mine in told.items() for k in np.flatnonzero(mine).tolist()}


def pillars(found: Diagnosis, of: Ints, claimed: int) -> Bools:
    """Tell which readings (r,) bear a claim alone: without one of them another class than that leads."""
    if not found.posterior.probability.any():
        return np.zeros(len(found.measurements), dtype=np.bool_)
    of_class = np.zeros((len(of), of.max() + 1))
    of_class[np.arange(len(of)), of] = 1.0
    return np.asarray((probability_without(found) @ of_class).argmax(axis=1) != claimed)


def probability_without(found: Diagnosis) -> Floats:
    """Return the probabilities (r, h) of hypotheses without each one of the readings, none of these left aside.

    What else is known of a hypothesis (prior, what was seen over time) stays.
    """
    noise, posterior = found.noise, found.posterior
    scored = [each for each in found.scored if np.isfinite(each.log)]
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
