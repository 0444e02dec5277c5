"""The boards that a doubtful drawing may mean, and how well each explains the readings.

Doubts are hypotheses like faults: each answer has a prior, and the readings weigh it. The evidence for a board is the
likelihood of all readings summed over its faults; here it is worked out roughly, with the leading faults alone and
three severities each, to find the few boards that deserve the whole diagnosis.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from seqsim.circuit import Circuit
from seqsim.circuit.doubts import About, Answer, Doubt, answered, value_doubts
from seqsim.diagnosis.cells import rough
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import Hypothesis, listed
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.spread import model_latents, noise
from seqsim.network.network import Floats
from seqsim.readings import Readings, measurement
from seqsim.readings.interventions import Intervention
from seqsim.readings.outcome import Zone

MOST_ALTERNATIVES = 60
"""Boards that are weighed at most; with more combinations the doubts are taken in one after the other."""
VALUE_POINTS = (8, 5, 3)
"""Parts of the range of unknown resistors, for one of them, two, and more."""
FAULT_SHARE = 0.85
"""The likeliest faults up to this share of the prior take part in the rough evidence."""
POINTS = 3
MOVED = 10
"""Leading branches whose sensitivities are worked out; the rest take those of the healthy board."""
ROUGH_SLIP = 0.03
"""Chance of a reading that the rough evidence does not expect: slips, and what the shortened list lacks."""
ROUGH_VOLTS, ROUGH_SHARE = 0.03, 0.02
ORDER = (About.KIND, About.CONTACT, About.UPSTREAM, About.VALUE)


@dataclass(frozen=True)
class Alternative:
    """One way to read the drawing: an answer for each doubt, by name, and its prior and evidence (logarithms)."""

    chosen: Mapping[str, Answer]
    log_prior: float = 0.0
    log_evidence: float = 0.0
    renamed: Mapping[str, str] = field(default_factory=dict)

    @property
    def log_weight(self) -> float:
        """Logarithm of what it weighs beside the others."""
        return self.log_prior + self.log_evidence

    def circuit(self, circuit: Circuit) -> Circuit:
        """Return the board itself."""
        return answered(circuit, self.chosen)

    def readings(self, readings: Readings) -> Readings:
        """Return the readings with the names that pins have on this board."""
        if not self.renamed:
            return readings
        return readings.model_copy(
            update={"readings": tuple(_renamed(reading, self.renamed) for reading in readings.readings)}
        )


def doubts_of(circuit: Circuit) -> tuple[Doubt, ...]:
    """Return all doubts about a drawing, resistors of unknown value included."""
    unknown = sum(doubt.about is About.VALUE for doubt in value_doubts(circuit, 1))
    points = VALUE_POINTS[min(max(unknown, 1), len(VALUE_POINTS)) - 1]
    found = (*circuit.doubts, *value_doubts(circuit, points))
    return tuple(sorted(found, key=lambda doubt: ORDER.index(doubt.about)))


def alternatives(circuit: Circuit, readings: Readings, most: int = MOST_ALTERNATIVES) -> list[Alternative]:
    """Return the boards that the drawing may mean, likeliest first, each with its rough evidence.

    All combinations are weighed where they are few; else doubts are taken in one after the other, and of each round the
    likeliest are kept.
    """
    doubts = doubts_of(circuit)
    found = [Alternative({})]
    product = math.prod(len(doubt.answers) for doubt in doubts)
    stages: list[Sequence[Doubt]] = [doubts] if product <= most else [(doubt,) for doubt in doubts]
    wide = max(len(doubt.answers) for doubt in doubts) if doubts else 1
    keep = max(most // (max(len(doubts), 1) * wide), 3)
    for number, stage in enumerate(stages):
        for doubt in stage:
            found = [_with(each, doubt, answer) for each in found for answer in doubt.answers]
        if readings.readings:
            found = [weighed(circuit, readings, each) for each in found]
        found.sort(key=lambda each: -each.log_weight)
        if number < len(stages) - 1:
            found = found[:keep]
    return found


def weighed(circuit: Circuit, readings: Readings, each: Alternative) -> Alternative:
    """Return an alternative with its rough evidence."""
    return replace(each, log_evidence=evidence(each.circuit(circuit), each.readings(readings)))


def weights(found: Iterable[Alternative]) -> Floats:
    """Return the weights of alternatives; they add up to one."""
    logs = np.array([each.log_weight for each in found])
    share = np.exp(logs - logs.max())
    return np.asarray(share / share.sum())


def evidence(circuit: Circuit, readings: Readings) -> float:
    """Return the logarithm of the likelihood of readings on a board of which only the leading faults count."""
    at = desk(circuit)
    measurements = tuple(measurement(circuit, reading, readings.meter) for reading in readings.readings)
    predictor = Predictor(at, conditions(measurements), len(measurements))
    hypotheses = _leading(listed(circuit))
    branches = [Branch(h, 1.0, hypothesis.modes[0], POINTS) for h, hypothesis in enumerate(hypotheses)]
    predictions = predictor.nominal(branches)
    if not predictions.good.any():
        return -np.inf
    noisy = noise(measurements, predictor.conditions, predictions.tips[predictions.good])
    score = rough(predictions, noisy)
    best = np.full(len(branches), np.inf)
    np.minimum.at(best, predictions.branch, score)
    leaders = list(dict.fromkeys([0, *np.argsort(best)[:MOVED].tolist()]))
    known, latents, _ = model_latents(at.network)
    sensitive = Predictor(replace(at, network=known), predictor.conditions, len(measurements))
    middle = [len(branches[k].severities) // 2 for k in leaders]
    moves = sensitive.moves([branches[k] for k in leaders], middle, latents)
    variance = np.tile((moves[0] ** 2).sum(axis=1), (len(branches), 1))
    variance[leaders] = (moves**2).sum(axis=2)
    tested = np.where(noisy.tested, 0.1, 1.0)
    own = np.diag(noisy.covariance) + ((ROUGH_VOLTS * tested) ** 2 + (ROUGH_SHARE * predictions.tips) ** 2)
    sd = np.sqrt(variance[predictions.branch] + own)
    logs = np.zeros(predictions.tips.shape)
    for k, each in enumerate(measurements):
        if noisy.number[k]:
            z = (noisy.observed[k] - predictions.tips[:, k]) / sd[:, k]
            density = np.exp(-(z**2) / 2) / (sd[:, k] * math.sqrt(2 * math.pi))
            logs[:, k] = np.log((1 - ROUGH_SLIP) * density + ROUGH_SLIP / noisy.span[k])
        elif isinstance(each.observed, Zone):
            largest = float(np.nanmax(np.abs(each.convert(predictions.tips[:, k])), initial=1.0))
            largest = largest if math.isfinite(largest) else 1.0
            chance = np.clip(each.chance(predictions.tips[:, k], sd[:, k], largest), 0, 1)
            logs[:, k] = np.log((1 - ROUGH_SLIP) * chance + ROUGH_SLIP / 2)
    counts = np.bincount(predictions.branch, minlength=len(branches))
    prior = np.array([hypothesis.prior for hypothesis in hypotheses])
    weight = np.log(prior / prior.sum() / counts)[predictions.branch]
    total = np.where(predictions.good, weight + logs.sum(axis=1), -np.inf)
    return float(np.logaddexp.reduce(total))


def _leading(hypotheses: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Return healthy and the likeliest faults."""
    ordered = sorted(hypotheses[1:], key=lambda each: -each.prior)
    total, kept = 0.0, []
    whole = sum(each.prior for each in ordered)
    for each in ordered:
        kept.append(each)
        total += each.prior
        if total >= FAULT_SHARE * whole:
            break
    return [hypotheses[0], *kept]


def _with(each: Alternative, doubt: Doubt, answer: Answer) -> Alternative:
    return Alternative(
        {**each.chosen, doubt.name: answer},
        each.log_prior + math.log(answer.prior),
        each.log_evidence,
        {**each.renamed, **answer.renamed},
    )


def _renamed(reading: object, names: Mapping[str, str]) -> object:
    """Return a reading, or what is done for it, with other names of pins."""
    update = {}
    for name in type(reading).model_fields:  # type: ignore[attr-defined]
        value = getattr(reading, name)
        if isinstance(value, str):
            new: object = _place(value, names)
        elif isinstance(value, tuple) and any(isinstance(item, Intervention) for item in value):
            new = tuple(_renamed(item, names) for item in value)
        else:
            continue
        if new != value and name not in ("text", "note", "file"):
            update[name] = new
    return reading.model_copy(update=update) if update else reading  # type: ignore[attr-defined]


def _place(text: str, names: Mapping[str, str]) -> str:
    pin, slash, rest = text.partition("/")
    return names.get(pin, pin) + slash + rest
