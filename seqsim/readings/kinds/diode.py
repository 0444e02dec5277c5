"""Diode test: the drop at about a milliampere, in either polarity."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from seqsim.network import Patch, Source
from seqsim.quantity import Unit, format_quantity
from seqsim.readings.kinds.kind import DEAD_CAUTION, Kind
from seqsim.readings.meter import Function, Meter
from seqsim.readings.outcome import Condition, Zone


class DiodeKind(Kind):
    """The drop (V) that the test current leaves, red lead on the first place."""

    name: ClassVar = "diode"
    words: ClassVar = ("diode", "drop")
    unit: ClassVar = Unit.VOLT
    example: ClassVar = "diode 0.41"
    live: ClassVar = False
    shows: ClassVar = {"ol": "OL"}
    caution: ClassVar = DEAD_CAUTION
    cell_volts: ClassVar = 0.1
    tested: ClassVar = True

    def function(self, meter: Meter) -> Function:
        """Return the diode function."""
        return meter.diode

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Return the test current with its compliance."""
        function = meter.diode
        return (Source(plus, minus, function.open_volts, function.source_ohms, function.test_amps, owner="meter"),)

    def most(self, meter: Meter) -> float:
        """Return the highest drop that is shown (V)."""
        return meter.diode.most_volts

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """OL: more volts than the test can show."""
        del word, limit_amps
        return Zone(meter.diode.most_volts, np.inf)

    def refuse(self, meter: Meter, value: float) -> str | None:
        """Refuse negative drops and what the display cannot show."""
        if value < 0:
            return "a negative drop means that charge is left; discharge the board and measure again"
        if value > meter.diode.most_volts:
            return f"above {format_quantity(meter.diode.most_volts, Unit.VOLT)} the diode test shows OL; write diode OL"
        return None
