"""The pillars of a claim: readings without which, each by itself, it would fall.

Slips are allowed for in every likelihood, as values that lie anywhere. A meter at the wrong place shows what is right
there, though, and that is often just what another fault would show here. So a claim that one reading alone bears is
held only once that reading was taken twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.repeats import settled
from seqsim.diagnosis.report import doubtful
from seqsim.network.network import Bools, Ints
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
    return np.asarray((found.without @ of_class).argmax(axis=1) != claimed)
