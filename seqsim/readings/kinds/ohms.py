"""Resistance between two places of the dead board."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from seqsim.network import Patch, Source
from seqsim.quantity import Unit, format_quantity
from seqsim.readings.kinds.kind import DEAD_CAUTION, Floats, Kind
from seqsim.readings.meter import Meter, Resistance
from seqsim.readings.outcome import Condition, Zone


class OhmsKind(Kind):
    """Resistance, red lead on the first place: a Thevenin source too low to turn silicon junctions on."""

    name: ClassVar = "ohms"
    words: ClassVar[tuple[str, ...]] = ("ohm", "ohms", "Ω")
    unit: ClassVar = Unit.OHM
    example: ClassVar = "9k2 ohm"
    live: ClassVar = False
    shows: ClassVar[Mapping[str, str]] = {"ol": "OL"}
    least: ClassVar = 0.0
    caution: ClassVar = DEAD_CAUTION
    cell_volts: ClassVar = 0.03
    tested: ClassVar = True
    by_share: ClassVar = True

    def function(self, meter: Meter) -> Resistance:
        """Return the ohms function."""
        return meter.ohms

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Return the test source."""
        function = self.function(meter)
        return (Source(plus, minus, function.open_volts, function.source_ohms, owner="meter"),)

    def convert(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return the resistance (Ω) that takes these volts from the test source."""
        return self.function(meter).shown_ohms(volts)

    def slope(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return Ω per V."""
        return self.function(meter).slope(volts)

    def invert(self, meter: Meter, shown: ArrayLike) -> Floats:
        """Return the volts at which the display shows these ohms."""
        return self.function(meter).volts_at(shown)

    def most(self, meter: Meter) -> float:
        """Return the end of the highest range (Ω)."""
        return self.function(meter).most_ohms

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """OL: more than the highest range."""
        del word, limit_amps
        return Zone(meter.ohms.most_ohms, np.inf)

    def refuse(self, meter: Meter, value: float) -> str | None:
        """Refuse negative resistance and what the display cannot show."""
        if value < 0:
            return "a negative resistance means that charge is left; discharge the board and measure again"
        if value > self.most(meter):
            word = self.words[0]
            return f"above {format_quantity(self.most(meter), Unit.OHM)} the meter shows OL; write OL {word}"
        return None
