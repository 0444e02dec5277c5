"""What one board says to readings, roughly: their likelihood over its leading faults, three severities each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from seqsim.circuit import Circuit
from seqsim.circuit.doubts import BEYOND
from seqsim.diagnosis.cells import rough
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import HEALTHY_PRIOR, Hypothesis, listed
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.ratios import measured
from seqsim.diagnosis.spread import followed, model_latents, noise
from seqsim.network.network import Floats
from seqsim.parts.supply import ENTRY
from seqsim.readings import Readings
from seqsim.readings.outcome import Zone

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


def seen(circuit: Circuit, readings: Readings, *, open_ended: bool) -> Seen:
    """Return what a board says to readings, of its faults only the leading ones."""
    at = desk(circuit)
    target = None
    if circuit.target is not None:
        target = at.benches[list(circuit.power_states)[-1]].levels.at(circuit.target)
    if not readings.readings:
        return Seen(target=target)
    measurements = measured(at, readings.readings, readings.meter)
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
    moves = sensitive.moves([branches[k] for k in leaders], middle, latents) - followed(measurements, latents.size)
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
