"""Hot or cold to the finger: what a part dissipates."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from seqsim.network import Patch
from seqsim.quantity import Unit
from seqsim.readings.kinds.kind import LIVE_CAUTION, Kind, Site
from seqsim.readings.meter import Function, Meter
from seqsim.readings.outcome import Condition, Zone

HOT_WATTS = 0.2
"""Dissipation (W) at which a small surface-mounted part is too hot for the finger.

Our judgement: 60 °C is 35 K above the room, and a small package has 150 to 350 K/W.
"""
HOT_BLUR = 0.4
"""Standard deviation of that edge as a share: packages differ (our judgement)."""


class HotKind(Kind):
    """A part is hot, or cold; the value is what it dissipates (W), which no pair of tips shows."""

    name: ClassVar = "hot"
    words: ClassVar = ("heat", "feels")
    unit: ClassVar = Unit.WATT
    example: ClassVar = "hot"
    live: ClassVar = True
    site: ClassVar = Site.PART
    numeric: ClassVar = False
    least: ClassVar = 0.0
    shows: ClassVar = {"hot": "hot", "cold": "cold"}
    caution: ClassVar = (
        LIVE_CAUTION
        + " Never touch a part that may be at mains or burning hot: bring the finger near, or use a thermometer "
        "or a thermal camera."
    )
    tested: ClassVar = True

    def function(self, meter: Meter) -> Function | None:
        """No meter."""
        del meter
        return None

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Nothing."""
        del meter, plus, minus
        return ()

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """Return the watts that make a part feel so."""
        del meter, limit_amps
        return Zone(HOT_WATTS, np.inf, HOT_BLUR) if word == "hot" else Zone(-np.inf, HOT_WATTS, HOT_BLUR)
