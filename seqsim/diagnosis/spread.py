"""What makes one board's readings differ from another's: parts, the laws of devices, the meter, and a residual."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from seqsim.diagnosis.conditions import Condition
from seqsim.network import Effect, Network
from seqsim.network.network import Bools, Floats
from seqsim.parts.model_error import DIODE, SATURATION, chip_diode_knobs, law_of, model_error, saturation_knobs
from seqsim.readings.measurement import Measurement
from seqsim.readings.outcome import Number, Zone
from seqsim.solver.batch import Latents, latents_of

RESIDUAL_VOLTS = max(0.008, model_error().residual_volts)
RESIDUAL_SHARE = max(0.003, model_error().residual_share)
"""What no part and no law explains of a voltage: the larger of volts and share of the reading. Measured against SPICE
it is less than these; they stand for what SPICE knows as little as we do: warmth, contacts, leakage. Our judgement."""
RESIDUAL_TEST = 0.002
"""The same (V) between the tips of a meter that tests with a few tenths of a volt."""
RESIDUAL_OHMS = 0.01
"""The same for resistance and current, as a share."""


def model_latents(network: Network) -> tuple[Network, Latents, tuple[tuple[str, str], ...]]:
    """Return the latents of a network: its knobs that move levels, each as uncertain as its part and its law.

    The network that comes back has these knobs, and those that laws alone call for.
    """
    laws = model_error().laws
    wider = {}
    for key, knob in network.knobs.items():
        law = law_of(knob)
        wider[key] = knob if law is None else replace(knob, spread=float(np.hypot(knob.spread, laws[law])))
    alone = saturation_knobs(network, laws[SATURATION]) | chip_diode_knobs(network, laws[DIODE])
    known = network.with_knobs({**wider, **alone})
    keep = tuple(
        key for key, knob in known.knobs.items()
        if knob.spread > 0 and any(turned.effect is not Effect.ROW for turned in knob.turned)
    )  # fmt: skip
    return known, latents_of(known, keep), keep


@dataclass(frozen=True)
class Noise:
    """What the readings have for themselves: observed tip volts (r,), independent covariance (r, r), spans (r,).

    ``number`` (r,) tells which readings are numbers; the others are words, weighed by their chance. ``tested`` (r,)
    tells which are taken with the meter's own, small voltage. ``shared`` (r, k) are directions in which the readings
    of any board move together, one standard deviation each, where leaders are chosen among boards.
    """

    observed: Floats
    covariance: Floats
    span: Floats
    number: Bools
    tested: Bools
    shared: Floats = field(default_factory=lambda: np.zeros((0, 0)))


def noise(measurements: Sequence[Measurement], conditions: Sequence[Condition], tips: Floats) -> Noise:
    """Return the covariance of readings around a perfect model: digits, the meter's gain, the model's residual.

    ``tips`` (i, r) are all predictions: a slip may lie anywhere among them.
    """
    count = len(measurements)
    observed, number = np.zeros(count), np.zeros(count, dtype=np.bool_)
    covariance = np.zeros((count, count))
    gains: dict[str, Floats] = {}
    for k, each in enumerate(measurements):
        if not isinstance(each.observed, Number):
            covariance[k, k] = _of_a_word(each) ** 2
            continue
        shown = each.observed.value
        number[k] = True
        observed[k] = float(each.invert(shown))
        slope = float(np.abs(each.slope(observed[k])))
        covariance[k, k] = (float(each.noise_sd(shown)) / slope) ** 2
        if each.latent is not None:
            gain = gains.setdefault(each.latent, np.zeros(count))
            gain[k] = float(each.gain_sd(shown)) * shown / slope
    for gain in gains.values():
        covariance += np.outer(gain, gain)
    tested = np.array([each.kind.tested for each in measurements], dtype=np.bool_)
    covariance += _residual(measurements, conditions, observed, number) + good_boards(measurements)
    spread = tips.max(axis=0) - tips.min(axis=0) if len(tips) else np.zeros(count)
    return Noise(observed, covariance, np.maximum(spread, 10 * np.sqrt(np.diag(covariance))), number, tested)


def _of_a_word(each: Measurement) -> float:
    """Return the model's error (tip volts) around the edges of what a word stands for."""
    if isinstance(each.observed, Zone) and each.kind.live and each.kind.by_share:
        edge = each.observed.low if np.isfinite(each.observed.low) else each.observed.high
        return RESIDUAL_OHMS * abs(float(each.invert(edge)))
    return RESIDUAL_VOLTS if each.kind.live else RESIDUAL_TEST


def _residual(
    measurements: Sequence[Measurement], conditions: Sequence[Condition], observed: Floats, number: Bools
) -> Floats:
    """Return the residual's covariance: two readings of one pair of places in one condition share it."""
    count = len(measurements)
    shared = np.zeros((count, count))
    deviation = np.zeros(count)
    for k, each in enumerate(measurements):
        if number[k]:
            deviation[k] = (
                RESIDUAL_OHMS * abs(float(each.convert(observed[k]))) / abs(float(each.slope(observed[k])))
                if each.kind.by_share
                else max(RESIDUAL_VOLTS, RESIDUAL_SHARE * abs(observed[k]))
            )
    for condition in conditions:
        for a, i in enumerate(condition.readings):
            for b, j in enumerate(condition.readings):
                same = condition.tips[a] == condition.tips[b] and measurements[i].kind is measurements[j].kind
                shared[i, j] = float(same)
    return np.asarray(shared * np.outer(deviation, deviation))


def good_boards(measurements: Sequence[Measurement]) -> Floats:
    """Return the covariance (r, r) that ratios have of the good board by itself: its parts, and its readings."""
    count = len(measurements)
    covariance = np.zeros((count, count))
    told = [(k, each.good, each.of_good_slope) for k, each in enumerate(measurements) if each.good is not None]
    for i, one, slope in told:
        for j, other, its in told:
            covariance[i, j] = slope * its * float(one.own @ other.own)
        covariance[i, i] += (slope * one.sd) ** 2
    return covariance


def followed(measurements: Sequence[Measurement], latents: int) -> Floats:
    """Return by how much (r, l) the good board beside which ratios were read goes the way of the board on the bench.

    It is to be taken off the moves of a reading, since a ratio tells how far the two boards differ.
    """
    moves = np.zeros((len(measurements), latents))
    for k, each in enumerate(measurements):
        if each.good is not None:
            moves[k] = each.of_good_slope * each.good.follows
    return moves
