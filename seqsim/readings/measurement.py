"""What a reading means to network and diagnosis: patches to add, volts to read, and how to weigh the value."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seqsim.circuit import Circuit
from seqsim.network import Patch
from seqsim.quantity import Unit
from seqsim.readings.interventions import Limited, limit_of
from seqsim.readings.kinds import KINDS, Kind, Site
from seqsim.readings.meter import METER, Meter
from seqsim.readings.outcome import Number, Outcome, Zone, below
from seqsim.readings.places import copper_at
from seqsim.readings.ratio import Good
from seqsim.readings.reading import Probe, Reading

Floats = NDArray[np.float64]

ABOUT = 0.1
"""Standard deviation that `about` adds, as a share of the value (our judgement)."""
WIDTH_TO_DEVIATION = 1 / math.sqrt(12)
"""Standard deviation of what is uniform over a width."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """A reading made ready for prediction: solve ``state`` with ``patches``, read ``plus`` minus ``minus``, convert.

    ``part`` is set instead of places where the value is what a part dissipates (W). ``latent`` names the gain that
    readings of one function have in common: the display shows ``value * (1 + gain_sd * latent)`` for a standard normal
    latent; in a ratio to a good board it cancels. ``observed`` is None for a reading that is only on offer.
    """

    kind: Kind
    meter: Meter
    state: str
    patches: tuple[Patch, ...]
    plus: str
    minus: str
    part: str | None
    observed: Outcome | None
    latent: str | None
    caution: str
    good: Good | None = None
    """what a known-good board shows there, of which the value is told as a share"""

    @property
    def unit(self) -> Unit:
        """Return the unit of the value."""
        return self.kind.unit if self.good is None else Unit.OF_GOOD

    @property
    def scale(self) -> float:
        """Return what the display shows where the value is one: one, unless it is told beside a good board."""
        return 1.0 if self.good is None else float(self.kind.convert(self.meter, self.good.tip))

    @property
    def of_good_slope(self) -> float:
        """Return by how much the tip volts of a ratio that was read move with those of the good board."""
        if self.good is None or not isinstance(self.observed, Number):
            return 0.0
        shown = self.observed.value
        at = float(self.invert(shown))
        return shown * float(self.kind.slope(self.meter, self.good.tip)) / float(self.kind.slope(self.meter, at))

    @property
    def most(self) -> float:
        """Value above which the display shows OL; infinite if it never does."""
        return self.kind.most(self.meter) / abs(self.scale)

    def convert(self, volts: ArrayLike) -> Floats:
        """Return the displayed value for volts of ``plus`` minus ``minus``; infinite where no number describes it."""
        return self.kind.convert(self.meter, volts) / self.scale

    def displayed(self, volts: ArrayLike) -> Floats:
        """Return the displayed value as `convert` does, but none that makes no sense, such as negative ohms."""
        return np.asarray(np.maximum(self.convert(volts), self.kind.least))

    def number(self, volts: float) -> float | None:
        """Return the number that the display shows, None where it shows OL."""
        shown = float(self.displayed(volts))
        return shown if np.isfinite(shown) and shown <= self.most else None

    def slope(self, volts: ArrayLike) -> Floats:
        """Return the derivative of the displayed value by volts."""
        return self.kind.slope(self.meter, volts) / self.scale

    def invert(self, shown: ArrayLike) -> Floats:
        """Return the volts of ``plus`` minus ``minus`` at which the display shows these values."""
        return self.kind.invert(self.meter, np.asarray(shown, dtype=np.float64) * self.scale)

    def chance(self, volts: ArrayLike, volts_sd: ArrayLike, largest: float = 1.0) -> Floats:
        """Return the chance of the zone that was read, where the volts of ``plus`` minus ``minus`` are Gaussian.

        The edges of the zone are moved to volts, since a display that shows OL has no derivative. ``largest`` is the
        largest displayed value that any hypothesis predicts.

        Raises
        ------
        TypeError
            If no zone was read.
        """
        zone = self.observed
        if not isinstance(zone, Zone):
            message = f"a chance needs a word that stands for a zone, not {zone}"
            raise TypeError(message)

        def under(edge: float) -> Floats:
            if math.isinf(edge):
                return below(edge, 0.0, volts, volts_sd)
            shown = edge * (largest if zone.of_largest else 1.0)
            at = float(self.invert(shown))
            return below(at, zone.blur * abs(shown) / float(self.slope(at)), volts, volts_sd)

        return under(zone.high) - under(zone.low)

    def gain_sd(self, shown: ArrayLike) -> Floats:
        """Return the standard deviation of the common gain, as a share, where the display shows these values."""
        function = self.kind.function(self.meter)
        if function is None or self.latent is None:
            return np.zeros(np.shape(shown))
        return function.gain_sd(np.asarray(shown, dtype=np.float64) * self.scale)

    def noise_sd(self, shown: ArrayLike) -> Floats:
        """Return the standard deviation (unit of the display) that this reading has for itself.

        It covers the meter's digits and what the writing leaves open: last digit, range, `about`.
        """
        function = self.kind.function(self.meter)
        at = np.asarray(shown, dtype=np.float64) * self.scale
        own = np.zeros(np.shape(shown)) if function is None else function.digit_sd(at) / abs(self.scale)
        written = self.observed.sd if isinstance(self.observed, Number) else 0.0
        return np.asarray(np.hypot(own, written))


def measurement(circuit: Circuit, reading: Probe, meter: Meter = METER) -> Measurement:
    """Return what a reading, taken or on offer, means to the network and to the diagnosis."""
    kind = KINDS[reading.kind]
    plus, minus, part = _tips(circuit, reading, kind)
    # what is done to the board comes first: a supply's ammeter sits before the limit that was set by hand
    done = tuple(patch for each in reading.interventions for patch in each.patches())
    patches = done + kind.patches(meter, plus, minus)
    if kind.site is not Site.PART:
        plus, minus = kind.places(plus, minus)
    if kind.site is Site.SUPPLY and circuit.supplies[reading.place].volts < 0:
        # what a supply delivers counts as positive, also where it pulls the board below ground
        plus, minus = minus, plus
    cautions = dict.fromkeys([kind.caution, *(each.caution for each in reading.interventions)])
    return Measurement(
        kind=kind, meter=meter, state=reading.state, patches=patches, plus=plus, minus=minus, part=part,
        observed=_observed(circuit, reading, kind, meter) if isinstance(reading, Reading) else None,
        latent=None if isinstance(reading, Reading) and reading.of_good else kind.latent, caution=" ".join(cautions),
    )  # fmt: skip


def _tips(circuit: Circuit, reading: Probe, kind: Kind) -> tuple[str, str, str | None]:
    if kind.site is Site.PART:
        return "", "", reading.place
    if kind.site is Site.SUPPLY:
        entry = f"{reading.place}:entry"
        behind = [
            each.behind for each in reading.interventions if isinstance(each, Limited) and each.supply == reading.place
        ]
        return entry, behind[0] if behind else f"{entry}/pad", None
    copper = copper_at(circuit, reading.place) if reading.to is None else None
    if copper is not None:
        first, second = circuit.copper[copper].touch
        return first, second, None
    return reading.place, reading.to or circuit.grounds[0], None


def _observed(circuit: Circuit, reading: Reading, kind: Kind, meter: Meter) -> Outcome:
    value = reading.value
    if isinstance(value, str):
        limit = limit_of(circuit, reading.place, reading.interventions) if kind.site is Site.SUPPLY else None
        return kind.outcome(meter, value, limit)
    if isinstance(value, tuple):
        low, high = value
        return Number((low + high) / 2, (high - low) * WIDTH_TO_DEVIATION)
    digit = (reading.resolution or 0.0) * WIDTH_TO_DEVIATION
    return Number(value, math.hypot(digit, ABOUT * abs(value) if reading.about else 0.0))
