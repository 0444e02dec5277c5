"""Dc volts at a place, or between two."""

from __future__ import annotations

from typing import ClassVar

from seqsim.network import Bridge, Patch
from seqsim.quantity import Unit, format_quantity
from seqsim.readings.kinds.kind import LIVE_CAUTION, Kind
from seqsim.readings.meter import Function, Meter


class VoltsKind(Kind):
    """Dc volts: the meter's input resistance loads the places it touches."""

    name: ClassVar = "volts"
    words: ClassVar = ("volts", "volt", "dcv")
    unit: ClassVar = Unit.VOLT
    example: ClassVar = "0.02"
    live: ClassVar = True
    caution: ClassVar = LIVE_CAUTION

    def function(self, meter: Meter) -> Function:
        """Return the volts function."""
        return meter.volts

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Return the input resistance as a conductance."""
        return (Bridge(plus, minus, 1 / meter.volts.input_ohms, "meter"),)

    def refuse(self, meter: Meter, value: float) -> str | None:
        """Refuse what no meter shows."""
        if abs(value) > meter.volts.most:
            most = format_quantity(meter.volts.most, Unit.VOLT)
            return f"the meter reads up to {most}; for ohms write their word, like 9k2 ohm"
        return None
