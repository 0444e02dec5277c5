"""A diagnosis as the result that people and programs read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.alike import own_deviation
from seqsim.diagnosis.cells import WORD_UNEXPLAINED, Scored
from seqsim.diagnosis.hypotheses import Hypothesis, Sort
from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.meant import meant
from seqsim.diagnosis.proof import proofs
from seqsim.diagnosis.repeats import settled
from seqsim.diagnosis.result import (
    Explained,
    Judged,
    Predicted,
    Ranking,
    ReadAgain,
    Shows,
    Tilted,
    Where,
)  # fmt: skip
from seqsim.faults import off_caution, probe_cautions, repair_cautions, tilts_told
from seqsim.network.network import Bools, Floats
from seqsim.readings import Reading
from seqsim.readings.measurement import Measurement
from seqsim.wording import PERCENTILE_95

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

LISTED_FROM = 1e-4
"""Hypotheses below this probability are added up in the last line of a ranking, never lost."""
EXPLAINED_WITHIN = 3.0
"""Standard deviations within which a hypothesis explains a reading."""
AGAIN = 0.2
"""Chance of a slip above which a reading is asked for again."""
SPEAKS = 1.0
"""Natural logarithm of the odds by which a reading must favour a hypothesis over the others to speak for it."""
PROVEN, PROVEN_FROM = 3, 0.05
"""Hypotheses whose repair is given its proof: the first so many, from this probability on."""


def ranking(found: Diagnosis, readings: Sequence[Reading]) -> Ranking:
    """Return the documented result."""
    circuit = found.desk.circuit
    order = np.argsort(-found.posterior.probability, kind="stable")
    unsure = doubtful(found, readings)
    proven = _proofs(found, [int(h) for h in order])
    speaking, spread = _speaking(found), _expected(found, found.posterior.best)
    healthy = None if found.healthy is None else _expected(found, {0: found.healthy})[0]
    hypotheses = [replace(_explained(found, int(h), speaking, spread), proof=proven.get(int(h), ())) for h in order]
    return Ranking(
        circuit=circuit.title or (circuit.file or ""),
        where=where_of(found),
        read_again=tuple(
            dict.fromkeys(
                _again(found, k, reading, each)
                for k, (reading, each) in enumerate(zip(readings, found.measurements, strict=True))
                if unsure[k]
            )
        ),
        readings=tuple(_judged(found, k, reading, healthy) for k, reading in enumerate(readings)),
        hypotheses=tuple(hypotheses),
        none_of_these=found.posterior.none,
        reference=found.reference,
        history=tuple(
            Tilted(said, key, places, factor) for said, key, places, factor in tilts_told(circuit, found.history)
        ),
        cautions=tuple(dict.fromkeys(each.text for each in (*probe_cautions(circuit), *repair_cautions(circuit)))),
    )


def doubtful(found: Diagnosis, readings: Sequence[Reading]) -> Bools:
    """Tell which readings (r,) are likely slips that another one would settle."""
    return (np.maximum(found.slip, found.posterior.slip) > AGAIN) & ~settled(readings, found.slip)


def _proofs(found: Diagnosis, order: Sequence[int]) -> dict[int, tuple[Shows, ...]]:
    """Return for the leading faults what is read once they are repaired."""
    probability, hypotheses = found.posterior.probability, found.hypotheses
    leading = [
        h for h in order[:PROVEN] if probability[h] > PROVEN_FROM and hypotheses[h].sort in (Sort.LISTED, Sort.SEVERAL)
    ]
    shares = [(hypotheses[h].modes[0], hypotheses[h].places) for h in leading]
    return {
        h: tuple(Shows(p.probe.place, p.probe.to, p.probe.kind, p.probe.state, p.low, p.high, p.unit) for p in proof)
        for h, proof in zip(leading, proofs(found.desk, shares), strict=True)
    }


def _group_probability(found: Diagnosis) -> dict[int, float]:
    total: dict[int, float] = {}
    for h, probability in zip(found.hypotheses, found.posterior.probability, strict=True):
        if h.sort is not Sort.PLACE:
            group = found.alike.group[h.name]
            total[group] = total.get(group, 0.0) + float(probability)
    return total


def where_of(found: Diagnosis) -> tuple[Where, ...]:
    """Return groups with the place hypotheses at their places, and places that belong to no group, likeliest first."""
    names = {h.name: (k, h) for k, h in enumerate(found.hypotheses)}
    probability = found.posterior.probability
    entries: list[Where] = []
    taken: set[int] = set()
    groups = sorted(_group_probability(found).items(), key=lambda item: -item[1])
    for group, chance in groups:
        if chance < LISTED_FROM:
            break
        members = [names[name] for name in found.alike.members[group]]
        likely = [(k, h) for k, h in members if probability[k] > 0.01 * chance]
        lead = max(likely or members, key=lambda item: probability[item[0]])[1]
        places = sorted(set().union(*(h.places for _, h in likely or members)))
        own = [
            k for k, h in enumerate(found.hypotheses)
            if h.sort is Sort.PLACE and h.place in places and k not in taken
        ]  # fmt: skip
        taken.update(own)
        more = float(sum(probability[k] for k in own))
        entries.append(Where(lead.place or "nowhere", tuple(places), group, min(chance + more, 1.0)))
    for k, h in enumerate(found.hypotheses):
        if h.sort is Sort.PLACE and k not in taken and probability[k] >= LISTED_FROM:
            entries.append(Where(h.place, tuple(sorted(h.places)), -1, float(probability[k])))
    return tuple(sorted(entries, key=lambda each: -each.probability))


def _explained(found: Diagnosis, h: int, speaking: Mapping[int, Bools], spread: Mapping[int, Floats]) -> Explained:
    hypothesis = found.hypotheses[h]
    best = found.posterior.best.get(h)
    group = -1 if hypothesis.sort is Sort.PLACE else found.alike.group[hypothesis.name]
    predictions = () if best is None else tuple(_predictions(found, best, speaking[h], spread[h]))
    confirm, repair = confirm_and_repair(hypothesis)
    return Explained(
        faults=_names(hypothesis),
        place=hypothesis.place,
        probability=float(found.posterior.probability[h]),
        group=group,
        group_size=1 if group < 0 else len(found.alike.members[group]),
        readings_explained=sum(each.speaks != "against" for each in predictions),
        readings_total=len(found.measurements),
        confirm=confirm,
        repair=repair,
        caution=off_caution(found.desk.circuit) if confirm or repair else "",
        predictions=predictions,
    )


def _names(hypothesis: Hypothesis) -> tuple[str, ...]:
    if hypothesis.faults:
        return tuple(fault.name for fault in hypothesis.faults)
    return (hypothesis.name,) if hypothesis.name else ()


def confirm_and_repair(hypothesis: Hypothesis) -> tuple[str, str]:
    """Return the power-off check that would confirm a hypothesis, and its repair."""
    if hypothesis.faults:
        return (
            "; ".join(f"{fault.name}: {fault.confirm}" for fault in hypothesis.faults),
            "; ".join(fault.repair for fault in hypothesis.faults),
        )
    if hypothesis.fault is not None:
        return hypothesis.fault.confirm, hypothesis.fault.repair
    if hypothesis.sort is Sort.PLACE:
        place = hypothesis.place
        return (
            f"with power off, look at {place} under magnification and measure it and its joints against the drawing",
            f"depends on what {place} turns out to have",
        )
    return "", ""


def _predictions(found: Diagnosis, best: Scored, speaking: Bools, spread: Floats) -> list[Predicted]:
    """Return what the likeliest cell of a hypothesis predicts for each reading, and which readings speak for it.

    ``spread`` (r,) are the standard deviations of what is expected, in tip volts.
    """
    numbers = np.flatnonzero(found.noise.number)
    off = dict(zip(numbers.tolist(), np.abs(best.fit.standard).tolist(), strict=True))
    result = []
    for k, each in enumerate(found.measurements):
        low, middle, high = _shown(each, float(best.cell.mean[k]), float(spread[k]))
        if best.cell.restless[k] > 0.5:  # an average over an oscillation is no reading to compare with
            low = middle = high = None
        against = off[k] > EXPLAINED_WITHIN if k in off else best.words[k] < np.log(WORD_UNEXPLAINED)
        result.append(Predicted(middle, low, high, "against" if against else "for" if speaking[k] else "neutral"))
    return result


def _speaking(found: Diagnosis) -> dict[int, Bools]:
    """Tell for each hypothesis which readings (r,) favour it: each by itself, or given all the others."""
    best = found.posterior.best
    if len(best) < 2:
        return {h: np.zeros(len(found.measurements), dtype=np.bool_) for h in best}
    own = np.stack([_alone(found, cell) for cell in best.values()])
    log_prior = np.log([found.hypotheses[h].prior for h in best])[:, None]
    top = (own + log_prior).max(axis=0)
    weight, prior = np.exp(own + log_prior - top), np.exp(log_prior)
    average = np.log(_others(weight)) + top - np.log(prior.sum() - prior)
    speaks = own - average > SPEAKS
    if found.posterior.probability.any():
        known = list(best)
        after = found.posterior.probability[known, None]
        before = found.without[:, known].T
        with np.errstate(divide="ignore", invalid="ignore"):  # of what is ruled out either way
            speaks |= np.log(after / _others(after)) - np.log(before / _others(before)) > SPEAKS
    return dict(zip(best, speaks, strict=True))


def _others(weight: Floats) -> Floats:
    """Return the weight (h, r) of all others; a hair of its own stays, where it is nearly all."""
    return np.asarray(np.maximum(weight.sum(axis=0) - weight, 1e-12 * weight))


def _alone(found: Diagnosis, cell: Scored) -> Floats:
    """Return the logarithm of the density (r,) of each reading by itself, slips allowed; of a word its chance."""
    variance = np.diag(cell.covariance)
    z = (found.noise.observed - cell.cell.mean) ** 2 / variance
    numbers = np.logaddexp(-z / 2 - np.log(variance) / 2, np.log(SLIP / found.noise.span))
    return np.where(found.noise.number, numbers, cell.words)


def _expected(found: Diagnosis, cells: Mapping[int, Scored]) -> dict[int, Floats]:
    """Return the standard deviations (r,), in tip volts, of what each of some cells expects.

    The meter errs as it does where the reading is expected, not where it was read.
    """
    if not cells:
        return {}
    mean = np.stack([each.cell.mean for each in cells.values()])
    variance = np.stack([np.diag(each.covariance) for each in cells.values()])
    spread = np.sqrt(variance)
    for k, each in enumerate(found.measurements):
        if each.good is None and (each.kind.live or not each.kind.by_share):
            rest = np.maximum(variance[:, k] - found.noise.covariance[k, k], 0.0)
            spread[:, k] = np.hypot(np.sqrt(rest), own_deviation(each, mean[:, k]))
    return dict(zip(cells, spread, strict=True))


def _shown(each: Measurement, tip: float, sd: float) -> tuple[float | None, float | None, float | None]:
    """Return 5th percentile, middle and 95th percentile of what the display would show; None where it shows OL."""
    low, middle, high = (each.number(tip + z * sd) for z in (-PERCENTILE_95, 0.0, PERCENTILE_95))
    return low, middle, high


def _judged(found: Diagnosis, k: int, reading: Reading, healthy: Floats | None) -> Judged:
    """Return a reading beside what a healthy board shows; ``healthy`` (r,) are the standard deviations of that."""
    each = found.measurements[k]
    low = high = None
    verdict = "no_prediction"
    if found.healthy is not None and healthy is not None:
        cell = found.healthy
        mean, sd = float(cell.cell.mean[k]), float(np.sqrt(cell.covariance[k, k]))
        low, _, high = _shown(each, mean, float(healthy[k]))
        if found.noise.number[k]:
            z = (found.noise.observed[k] - mean) / sd
            verdict = "as_healthy" if abs(z) <= EXPLAINED_WITHIN else "low" if z < 0 else "high"
        elif cell.words[k] > np.log(WORD_UNEXPLAINED):
            verdict = "as_healthy"
        else:
            verdict = _word_verdict(reading)
    if found.slip[k] > AGAIN:
        verdict = "contradicts_another"
    return Judged(
        reading.place, reading.to, reading.kind, reading.state, reading.value, each.unit.value, low, high, verdict,
        done=_done(reading),
    )  # fmt: skip


def _again(found: Diagnosis, k: int, reading: Reading, each: Measurement) -> ReadAgain:
    return ReadAgain(
        reading.place, reading.to, reading.kind, reading.state, each.caution, meant(found, k, reading), _done(reading)
    )


def _done(reading: Reading) -> tuple[str, ...]:
    """Return what was done to the board for a reading, in words."""
    return tuple(str(each) for each in reading.interventions)


def _word_verdict(reading: Reading) -> str:
    """Return on which side of healthy an unexpected word lies."""
    return "low" if str(reading.value) in ("low", "beep", "cold") else "high"
