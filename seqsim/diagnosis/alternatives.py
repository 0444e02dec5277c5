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
from seqsim.circuit.doubts import BEYOND, About, Answer, Doubt, answered, value_doubts
from seqsim.diagnosis.cells import rough
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import HEALTHY_PRIOR, Hypothesis, listed
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.spread import model_latents, noise
from seqsim.network.network import Floats
from seqsim.parts.supply import ENTRY
from seqsim.readings import Readings, measurement
from seqsim.readings.interventions import Intervention
from seqsim.readings.outcome import Zone

MOST_ALTERNATIVES = 120
"""Boards that are weighed at most; with more combinations the doubts are taken in one after the other."""
VALUE_POINTS = (8, 5, 3)
"""Parts of the range of unknown resistors, for one of them, two, and more."""
FAULT_SHARE = 0.9
"""The likeliest faults up to this share of the prior take part in the rough evidence."""
SOUND_SHARE = 0.4
"""Chance that nothing of what is traced is broken while ends are open: the fault lies beyond (our judgement)."""
POINTS = 3
MOVED = 10
"""Leading branches whose sensitivities are worked out; the rest take those of the healthy board."""
ROUGH_SLIP = 0.03
"""Chance of a reading that the rough evidence does not expect: slips, and what the shortened list lacks."""
ROUGH_VOLTS, ROUGH_SHARE = 0.03, 0.02
"""Spread of a reading in the rough evidence (V, and a share of it): tolerances and laws together (our judgement)."""
ORDER = (About.KIND, About.CONTACT, About.UPSTREAM, About.VALUE)


@dataclass(frozen=True)
class Seen:
    """What one board says to the readings.

    ``log_evidence`` is the logarithm of their likelihood; ``places`` the share of each place among the faults that
    explain them (healthy is ````); ``expected`` (r,) what each would show on the healthy board; ``target`` (V) the
    target's level there in the last power state, None if nothing is the target.
    """

    log_evidence: float = 0.0
    places: Mapping[str, float] = field(default_factory=dict)
    expected: Floats = field(default_factory=lambda: np.zeros(0))
    target: float | None = None


@dataclass(frozen=True)
class Alternative:
    """One way to read the drawing: an answer for each doubt, by name, the logarithm of its prior, and what is seen.

    ``renamed`` maps pins of the circuit as it was read to those of this board.
    """

    chosen: Mapping[str, Answer]
    log_prior: float = 0.0
    seen: Seen = Seen()
    renamed: Mapping[str, str] = field(default_factory=dict)

    @property
    def log_weight(self) -> float:
        """Logarithm of what it weighs beside the others."""
        return self.log_prior + self.seen.log_evidence

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
    open_ended = bool(open_ends(circuit))
    product = math.prod(len(doubt.answers) for doubt in doubts)
    stages: list[Sequence[Doubt]] = [doubts] if product <= most else [(doubt,) for doubt in doubts]
    wide = max(len(doubt.answers) for doubt in doubts) if doubts else 1
    keep = max(most // (max(len(doubts), 1) * wide), 3)
    for number, stage in enumerate(stages):
        for doubt in stage:
            found = [_with(each, doubt, answer) for each in found for answer in doubt.answers]
        last = number == len(stages) - 1
        if readings.readings or last:
            found = [
                replace(each, seen=seen(each.circuit(circuit), each.readings(readings), open_ended=open_ended))
                for each in found
            ]
        found.sort(key=lambda each: -each.log_weight)
        if not last:
            found = found[:keep]
    return found


def weights(found: Iterable[Alternative]) -> Floats:
    """Return the weights of alternatives; they add up to one."""
    logs = np.array([each.log_weight for each in found])
    share = np.exp(logs - logs.max())
    return np.asarray(share / share.sum())


def seen(circuit: Circuit, readings: Readings, *, open_ended: bool) -> Seen:
    """Return what a board says to readings, of its faults only the leading ones."""
    at = desk(circuit)
    target = None
    if circuit.target is not None:
        target = at.benches[list(circuit.power_states)[-1]].levels.at(circuit.target)
    if not readings.readings:
        return Seen(target=target)
    measurements = tuple(measurement(circuit, reading, readings.meter) for reading in readings.readings)
    predictor = Predictor(at, conditions(measurements), len(measurements))
    hypotheses = _leading(listed(circuit, beyond(circuit)))
    branches = [Branch(h, 1.0, hypothesis.modes[0], POINTS) for h, hypothesis in enumerate(hypotheses)]
    predictions = predictor.nominal(branches)
    if not predictions.good.any():
        return Seen(-np.inf, target=target)
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
    sound = SOUND_SHARE if open_ended else HEALTHY_PRIOR
    prior = np.concatenate([[sound], (1 - sound) * prior[1:] / prior[1:].sum()])
    weight = np.log(prior / counts)[predictions.branch]
    total = np.where(predictions.good, weight + logs.sum(axis=1), -np.inf)
    log = float(np.logaddexp.reduce(total))
    places: dict[str, float] = {}
    if math.isfinite(log):
        share = np.bincount(predictions.branch, np.exp(total - log), len(branches))
        for hypothesis, part in zip(hypotheses, share.tolist(), strict=True):
            places[hypothesis.place] = places.get(hypothesis.place, 0.0) + part
    tips = predictions.tips[np.flatnonzero(predictions.branch == 0)[0]]
    expected = np.array([float(each.convert(tip)) for each, tip in zip(measurements, tips, strict=True)])
    return Seen(log, places, expected, target)


def beyond(circuit: Circuit) -> dict[str, float]:
    """Return factors that leave out faults of what is not traced: the answers of its doubts say them already.

    That is what stands behind open ends, and supplies on which no part lies yet.
    """
    nets = circuit.nets()
    return {
        name: 0.0
        for name, supply in circuit.supplies.items()
        if name.startswith(BEYOND) or all(pin.endswith(ENTRY) for pin in nets[supply.net])
    }


def open_ends(circuit: Circuit) -> tuple[str, ...]:
    """Return the nets behind which something is not traced."""
    return tuple(doubt.name for doubt in circuit.doubts if doubt.about is About.UPSTREAM)


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
        each.seen,
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
