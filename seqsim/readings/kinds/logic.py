"""Words of a logic probe, or of someone who did not note the volts: high, low, floating, pulsing."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from seqsim.network import Patch
from seqsim.quantity import Unit
from seqsim.readings.kinds.kind import LIVE_CAUTION, Kind
from seqsim.readings.meter import Function, Meter
from seqsim.readings.outcome import Condition, Zone

HIGH_FROM = 0.7
LOW_UNTIL = 0.3
"""Shares of the largest voltage that any hypothesis predicts at the place: CMOS input levels, common practice."""
EDGE_BLUR = 0.1
"""Standard deviation of these edges as a share of them (our judgement)."""


class LogicKind(Kind):
    """A level told by a word; the probe is taken to load nothing."""

    name: ClassVar = "logic"
    words: ClassVar = ("logic", "level")
    unit: ClassVar = Unit.VOLT
    example: ClassVar = "high"
    live: ClassVar = True
    numeric: ClassVar = False
    shows: ClassVar = {
        "high": "high",
        "low": "low",
        "floating": "floating",
        "floats": "floating",
        "pulsing": "pulsing",
        "pulses": "pulsing",
    }
    caution: ClassVar = LIVE_CAUTION

    def function(self, meter: Meter) -> Function:
        """Return the volts function."""
        return meter.volts

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Nothing."""
        del meter, plus, minus
        return ()

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """Return shares of the largest predicted voltage for high and low; the others are conditions."""
        del meter, limit_amps
        if word == "high":
            return Zone(HIGH_FROM, np.inf, EDGE_BLUR, of_largest=True)
        if word == "low":
            return Zone(-np.inf, LOW_UNTIL, EDGE_BLUR, of_largest=True)
        return Condition(word)
