"""Continuity: does it beep, and is there a path at all."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from seqsim.readings.kinds.ohms import OhmsKind
from seqsim.readings.meter import Continuity, Meter
from seqsim.readings.outcome import Condition, Zone


class ContinuityKind(OhmsKind):
    """The beeper: `beep`, `silent` (no beep), or `OL` (beyond the range, some hundred ohms)."""

    name: ClassVar = "continuity"
    words: ClassVar = ("continuity", "cont")
    example: ClassVar = "beep"
    shows: ClassVar = {"beep": "beep", "beeps": "beep", "silent": "silent", "no beep": "silent", "ol": "OL"}

    def function(self, meter: Meter) -> Continuity:
        """Return the continuity function."""
        return meter.continuity

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """Return the ohms for which the beeper sounds, stays silent, or the display overflows."""
        del limit_amps
        function = meter.continuity
        if word == "beep":
            return Zone(-np.inf, function.beeps_below, function.beep_spread)
        if word == "silent":
            return Zone(function.beeps_below, np.inf, function.beep_spread)
        return Zone(function.most_ohms, np.inf)
