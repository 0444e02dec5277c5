"""Continuity: does it beep, and is there a path at all."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from seqsim.network import Patch, Source
from seqsim.quantity import Unit, format_quantity
from seqsim.readings.kinds.kind import DEAD_CAUTION, Floats, Kind
from seqsim.readings.meter import Function, Meter
from seqsim.readings.outcome import Condition, Zone


class ContinuityKind(Kind):
    """The beeper: `beep`, `silent` (no beep), or `OL` (beyond the range, some hundred ohms)."""

    name: ClassVar = "continuity"
    words: ClassVar = ("continuity", "cont")
    unit: ClassVar = Unit.OHM
    example: ClassVar = "beep"
    live: ClassVar = False
    shows: ClassVar = {"beep": "beep", "beeps": "beep", "silent": "silent", "no beep": "silent", "ol": "OL"}
    least: ClassVar = 0.0
    caution: ClassVar = DEAD_CAUTION
    cell_volts: ClassVar = 0.03
    tested: ClassVar = True
    by_share: ClassVar = True

    def function(self, meter: Meter) -> Function:
        """Return the continuity function."""
        return meter.continuity

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Return the test source."""
        return (Source(plus, minus, meter.continuity.open_volts, meter.continuity.source_ohms, owner="meter"),)

    def convert(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return the resistance (Ω) that takes these volts from the test source."""
        return meter.continuity.shown_ohms(volts)

    def slope(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return Ω per V."""
        return meter.continuity.slope(volts)

    def invert(self, meter: Meter, shown: ArrayLike) -> Floats:
        """Return the volts at which the display shows these ohms."""
        return meter.continuity.volts_at(shown)

    def most(self, meter: Meter) -> float:
        """Return the end of the range (Ω)."""
        return meter.continuity.most_ohms

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """Return the ohms for which the beeper sounds, stays silent, or the display overflows."""
        del limit_amps
        function = meter.continuity
        if word == "beep":
            return Zone(-np.inf, function.beeps_below, function.beep_spread)
        if word == "silent":
            return Zone(function.beeps_below, np.inf, function.beep_spread)
        return Zone(function.most_ohms, np.inf)

    def refuse(self, meter: Meter, value: float) -> str | None:
        """Refuse negative resistance and what the display cannot show."""
        if value < 0:
            return "a negative resistance means that charge is left; discharge the board and measure again"
        if value > meter.continuity.most_ohms:
            return f"above {format_quantity(meter.continuity.most_ohms, Unit.OHM)} this function shows OL; write OL"
        return None
