"""A ranking by levels at rest, weighed again by what was seen over time.

Power-ups are run for what the levels leave in the running, with the severities that they leave. None of these counts
with the average of all: what was seen says nothing more about it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from seqsim.circuit import Circuit
from seqsim.diagnosis.cells import Cell, Scored
from seqsim.diagnosis.predict import Branch
from seqsim.diagnosis.rank import Diagnosis, diagnose
from seqsim.diagnosis.report import ranking
from seqsim.diagnosis.result import Ranking
from seqsim.network.network import Floats
from seqsim.readings import Readings
from seqsim.sequence.seen import Seen, Witness

WORTH = 1e-4
"""Probability at rest from which a hypothesis is run."""
MOST = 200
"""Hypotheses that are run, the likeliest first."""
POINTS = 5
"""Severities of each such way that are run."""
CELLS = 3
"""Ways in which a hypothesis may look at rest (a mode, a range of severities) that are run, the likeliest first."""


def rank_over_time(circuit: Circuit, readings: Readings, seen: Sequence[Seen]) -> Ranking:
    """Return the faults that explain what was measured at rest and seen over time.

    Parameters
    ----------
    circuit
        The board.
    readings
        What was measured, and with which meter.
    seen
        What was seen while the board was powered up.
    """
    found = diagnose(circuit, readings)
    return ranking(weighed(found, Witness.of(circuit, seen)), readings.readings)


def weighed(found: Diagnosis, witness: Witness) -> Diagnosis:
    """Return a diagnosis whose probabilities also count what was seen."""
    before = found.posterior
    chance, average = _chances(found, witness)
    joint = before.probability * chance
    none = before.none * average
    total = float(joint.sum()) + none
    return replace(found, posterior=replace(before, probability=joint / total, none=none / total))


def _chances(found: Diagnosis, witness: Witness) -> tuple[Floats, float]:
    """Return the chance of what was seen under each hypothesis (h,), and its average over those that were run."""
    probability = found.posterior.probability
    mine: dict[int, list[Scored]] = {}
    for each in found.scored:
        mine.setdefault(found.branches[each.cell.branch].hypothesis, []).append(each)
    chance = np.full(len(probability), np.nan)
    for h in np.argsort(-probability)[:MOST]:
        if probability[h] > WORTH and int(h) in mine:
            chance[h] = _chance(found, mine[int(h)], witness)
    run = np.isfinite(chance)
    weights = probability[run]
    average = float((weights * chance[run]).sum() / weights.sum()) if weights.sum() > 0 else witness.healthy
    return np.where(run, chance, average), average


def _chance(found: Diagnosis, cells: Sequence[Scored], witness: Witness) -> float:
    """Return the chance of what was seen under the likeliest ways in which a hypothesis may look at rest."""
    ordered = sorted(cells, key=lambda each: -(each.log + np.log(each.cell.weight)))[:CELLS]
    logs = np.array([each.log + np.log(each.cell.weight) for each in ordered])
    shares = np.exp(logs - np.logaddexp.reduce(logs))
    chance = 0.0
    for share, each in zip(shares, ordered, strict=True):
        branch = found.branches[each.cell.branch]
        severities = _severities(each.cell, branch)
        runs = [witness.under(branch.mode.patches(severity)) for severity in severities]
        chance += float(share) * float(np.mean(runs))
    return chance


def _severities(cell: Cell, branch: Branch) -> list[float]:
    """Return severities of a cell: levels at rest cannot tell them apart, what was seen over time may."""
    count = len(branch.severities)
    width = cell.weight / branch.weight * count
    at = cell.middle + (np.arange(POINTS) + 0.5) / POINTS * width - width / 2
    chosen = np.unique(np.clip(np.round(at), 0, count - 1).astype(np.int64))
    return [float(branch.severities[k]) for k in chosen]
