"""A ranking by levels at rest, weighed again by what was seen over time.

Power-ups are run for what the levels leave in the running, with the severities that they leave. None of these counts
with the average of all: what was seen says nothing more about it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.cells import Cell, Scored
from seqsim.diagnosis.predict import Branch
from seqsim.diagnosis.rank import Diagnosis, diagnose
from seqsim.diagnosis.report import SPEAKS, ranking
from seqsim.diagnosis.result import Explained, Judged, Predicted, Ranking
from seqsim.faults import Factors
from seqsim.network.network import Floats
from seqsim.readings import Readings
from seqsim.readings.over_time import KIND
from seqsim.sequence.rails import HIGH
from seqsim.sequence.seen import Watched, Witness

WORTH = 1e-4
"""Probability at rest from which a hypothesis is run."""
MOST = 200
"""Hypotheses that are run, the likeliest first."""
POINTS = 5
"""Severities of each such way that are run."""
CELLS = 3
"""Ways in which a hypothesis may look at rest (a mode, a range of severities) that are run, the likeliest first."""
LIKELY, UNLIKELY = 0.5, 0.05
"""Chance from which what was seen is as on a healthy board; chance below which it speaks against a hypothesis."""


@dataclass(frozen=True)
class Watching:
    """The chance of each thing that was seen (h, s) under each hypothesis; NaN where none was run."""

    witness: Witness
    chances: Floats

    @property
    def run(self) -> Sequence[int]:
        """Numbers of the hypotheses that were run."""
        return [int(h) for h in np.flatnonzero(np.isfinite(self.chances).all(axis=1))]


def rank_over_time(circuit: Circuit, readings: Readings, *, factors: Factors | None = None) -> Ranking:
    """Return the faults that explain what was measured at rest and what was seen over time.

    Parameters
    ----------
    circuit
        The board.
    readings
        What was measured, with which meter, and what was seen.
    factors
        A history, or factors on priors by kind, place or name of a fault.
    """
    return told_over_time(diagnose(circuit, readings, factors=factors), readings)[0]


def told_over_time(found: Diagnosis, readings: Readings) -> tuple[Ranking, float]:
    """Return the ranking of a diagnosis at rest once what was seen counts, and the chance of seeing that."""
    watching = watch(found, Witness.of(found.desk.circuit, readings.seen))
    chance = seen_chance(found, watching)
    found = weighed(found, watching)
    return _told(ranking(found, readings.readings), found, watching), chance


def seen_chance(found: Diagnosis, watching: Watching) -> float:
    """Return the chance of what was seen, over all hypotheses as levels at rest leave them."""
    before, chance, run = found.posterior, watching.chances.prod(axis=1), watching.run
    mine = float(before.probability[run].sum())
    if mine <= 0:
        return float(watching.witness.on(watching.witness.healthy).prod())
    return float((before.probability[run] * chance[run]).sum()) / mine


def watch(found: Diagnosis, witness: Witness) -> Watching:
    """Run the likeliest hypotheses over time, each in its likeliest ways to look at rest."""
    probability = found.posterior.probability
    mine: dict[int, list[Scored]] = {}
    for each in found.scored:
        mine.setdefault(found.branches[each.cell.branch].hypothesis, []).append(each)
    chances = np.full((len(probability), len(witness.watched)), np.nan)
    for h in np.argsort(-probability)[:MOST]:
        if probability[h] > WORTH and int(h) in mine:
            chances[h] = _chances(found, mine[int(h)], witness)
    return Watching(witness, chances)


def weighed(found: Diagnosis, watching: Watching) -> Diagnosis:
    """Return a diagnosis whose probabilities also count what was seen."""
    before = found.posterior
    chance = watching.chances.prod(axis=1)
    average = seen_chance(found, watching)
    joint = before.probability * np.where(np.isfinite(chance), chance, average)
    none = before.none * average
    total = float(joint.sum()) + none
    return replace(found, posterior=replace(before, probability=joint / total, none=none / total))


def _chances(found: Diagnosis, cells: Sequence[Scored], witness: Witness) -> Floats:
    """Return the chance (s,) of what was seen under the likeliest ways in which a hypothesis may look at rest."""
    ordered = sorted(cells, key=lambda each: -(each.log + np.log(each.cell.weight)))[:CELLS]
    logs = np.array([each.log + np.log(each.cell.weight) for each in ordered])
    shares = np.exp(logs - np.logaddexp.reduce(logs))
    chances = np.zeros(len(witness.watched))
    for share, each in zip(shares, ordered, strict=True):
        branch = found.branches[each.cell.branch]
        severities = _severities(each.cell, branch)
        chances += share * np.mean([witness.under(branch.mode.patches(severity)) for severity in severities], axis=0)
    return chances


def _severities(cell: Cell, branch: Branch) -> list[float]:
    """Return severities of a cell: levels at rest cannot tell them apart, what was seen over time may."""
    count = len(branch.severities)
    width = cell.weight / branch.weight * count
    at = cell.middle + (np.arange(POINTS) + 0.5) / POINTS * width - width / 2
    chosen = np.unique(np.clip(np.round(at), 0, count - 1).astype(np.int64))
    return [float(branch.severities[k]) for k in chosen]


def _told(result: Ranking, found: Diagnosis, watching: Watching) -> Ranking:
    """Return a ranking that also shows what was seen, and for which hypotheses that speaks."""
    witness = watching.witness
    average = watching.chances[watching.run].mean(axis=0) if watching.run else np.ones(len(witness.watched))
    order = np.argsort(-found.posterior.probability, kind="stable")
    return replace(
        result,
        readings=(*result.readings, *(_judged(found.desk.circuit, each, witness) for each in witness.watched)),
        hypotheses=tuple(
            _explained(each, watching.chances[h], average) for h, each in zip(order, result.hypotheses, strict=True)
        ),
    )


def _judged(circuit: Circuit, watched: Watched, witness: Witness) -> Judged:
    """Return what was seen beside what a healthy board does."""
    seen = watched.seen
    trace = watched.trace(witness.healthy, witness.table.until)
    low = high = None
    if seen.seconds is not None:
        low, high = watched.window(trace, seen.seconds)
    if watched.chance(witness.healthy, witness.table.until) > LIKELY:
        verdict = "as_healthy"
    elif isinstance(seen.what, float) and high is not None:
        verdict = "high" if seen.what > high else "low"
    else:
        expected = trace.volts[-1] if high is None else high
        verdict = "low" if expected >= HIGH * watched.largest else "high"
    state = seen.state or next(name for name in circuit.power_states if name != OFF)
    unit = "" if seen.seconds is None else "V"
    return Judged(seen.place, None, KIND, state, str(seen), unit, low, high, verdict)


def _explained(hypothesis: Explained, chances: Floats, average: Floats) -> Explained:
    """Return a hypothesis with what was seen among the readings that speak for or against it."""
    speaks = [_speaks(float(chance), float(usual)) for chance, usual in zip(chances, average, strict=True)]
    return replace(
        hypothesis,
        readings_explained=hypothesis.readings_explained + sum(each != "against" for each in speaks),
        readings_total=hypothesis.readings_total + len(speaks),
        predictions=(*hypothesis.predictions, *(Predicted(None, None, None, each) for each in speaks)),
    )


def _speaks(chance: float, usual: float) -> str:
    if not np.isfinite(chance):
        return "neutral"
    if chance < UNLIKELY:
        return "against"
    return "for" if np.log(chance / usual) > SPEAKS else "neutral"
