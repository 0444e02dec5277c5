"""Readings told as a ratio to a known-good board, which differs from the nominal one as every board does.

A board that shows ρ times what the good one shows there was read at y = convert⁻¹(ρ convert(g)), for tip volts g of the
good board. Near the nominal g₀ that is the line y(g₀) + γ (g - g₀), so that the reading is one of v - γ (g - g₀) at
y(g₀): for volts γ is ρ itself, and the ratio of two Gaussians is weighed exactly (v - ρ g is Gaussian; Hinkley,
Biometrika 56 (1969) 635, from memory). The good board's latents are c x + √(1 - c²) w, x being those of the board on
the bench and w its own: what boards of one make have in common cancels where both hang on it alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from seqsim.diagnosis.alike import own_deviation
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.hypotheses import HEALTHY
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.reference import COMMON_SHARE
from seqsim.diagnosis.spread import model_latents
from seqsim.errors import ReadingError
from seqsim.quantity import format_quantity
from seqsim.readings import Reading, measurement
from seqsim.readings.measurement import Measurement
from seqsim.readings.meter import Meter
from seqsim.readings.ratio import Good

CLEAR = 3.0
"""Standard deviations by which a good board must read other than nothing, for a ratio to it to say something."""


def measured(at: Desk, readings: Sequence[Reading], meter: Meter) -> tuple[Measurement, ...]:
    """Return readings that were taken, made ready for prediction, ratios with what a good board shows.

    Raises
    ------
    ReadingError
        If a ratio was read where a good board shows next to nothing, or no number.
    """
    found = [measurement(at.circuit, reading, meter) for reading in readings]
    told = [k for k, reading in enumerate(readings) if reading.of_good]
    if told:
        for k, good in zip(told, _good(at, [found[k] for k in told]), strict=True):
            _comparable(readings[k], found[k], good)
            found[k] = replace(found[k], good=good)
    return tuple(found)


def _good(at: Desk, measurements: Sequence[Measurement]) -> list[Good]:
    """Return what a good board shows at each of some readings."""
    known, latents, _ = model_latents(at.network)
    predictor = Predictor(replace(at, network=known), conditions(measurements), len(measurements))
    tips, _, _, moves = predictor.nearby([Branch(0, 1.0, HEALTHY.modes[0], 1)], [0], latents)
    c = COMMON_SHARE
    return [
        Good(float(tip), c * move, np.sqrt(1 - c**2) * move, float(own_deviation(each, np.array([tip]))[0]))
        for each, tip, move in zip(measurements, tips[0], moves[0], strict=True)
    ]


def _comparable(reading: Reading, each: Measurement, good: Good) -> None:
    shown = each.number(good.tip)
    spread = float(np.sqrt(good.follows @ good.follows + good.own @ good.own + good.sd**2))
    if shown is None or abs(good.tip) <= CLEAR * spread:
        what = "no number" if shown is None else f"only {format_quantity(shown, each.unit)}"
        message = (
            f"reading '{reading.text}': a good board shows {what} at '{reading.place}' in '{reading.state}', which "
            "nothing can be compared with; write what this board shows"
        )
        raise ReadingError(message, file=reading.file, line=reading.line, place=reading.place, got=reading.text)
