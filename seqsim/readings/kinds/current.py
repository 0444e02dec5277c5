"""Supply current, and whether the supply is in its limit."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from seqsim.network import Bridge, Move, Patch
from seqsim.quantity import Unit, format_quantity
from seqsim.readings.kinds.kind import LIVE_CAUTION, Floats, Kind, Site
from seqsim.readings.meter import Function, Meter
from seqsim.readings.outcome import Condition, Zone

IN_LIMIT = 0.97
"""Share of the current limit from which the lamp or display of a bench supply says so (our judgement)."""
LIMIT_BLUR = 0.01
"""Standard deviation of that share (our judgement)."""


class CurrentKind(Kind):
    """The current (A) that a supply delivers: a small resistance between the supply and the board.

    The tips are named by the supply's entry (`VBAT:entry`) and by what lies behind it on the board's side.
    """

    name: ClassVar = "current"
    words: ClassVar = ("current", "amps", "amp")
    unit: ClassVar = Unit.AMPERE
    example: ClassVar = "0.35A"
    live: ClassVar = True
    site: ClassVar = Site.SUPPLY
    shows: ClassVar = {
        "limit": "limit", "in limit": "limit", "no limit": "no limit", "not in limit": "no limit",
        "below limit": "no limit",
    }  # fmt: skip
    caution: ClassVar = LIVE_CAUTION
    cell_volts: ClassVar = 3e-4  # across a shunt of a milliohm: 0.3 A
    tested: ClassVar = True
    by_share: ClassVar = True

    def function(self, meter: Meter) -> Function:
        """Return the current function."""
        return meter.current

    def places(self, plus: str, minus: str) -> tuple[str, str]:
        """Return both ends of the resistance: the supply's side is a node of its own."""
        return f"{plus.removesuffix(':entry')}:ammeter", minus

    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Lift the supply off the board and put the resistance in between."""
        inside, _ = self.places(plus, minus)
        return (Move((plus,), inside, joint=True), Bridge(inside, minus, 1 / meter.current.shunt_ohms, "meter"))

    def convert(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return the current (A) through the resistance."""
        return np.asarray(volts, dtype=np.float64) / meter.current.shunt_ohms

    def slope(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return A per V."""
        return np.full(np.shape(volts), 1 / meter.current.shunt_ohms)

    def invert(self, meter: Meter, shown: ArrayLike) -> Floats:
        """Return the volts across the resistance at which the display shows these amperes."""
        return np.asarray(shown, dtype=np.float64) * meter.current.shunt_ohms

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """Limit: all that the supply can give; no limit: less."""
        if limit_amps is None:
            return super().outcome(meter, word, limit_amps)
        edge = IN_LIMIT * limit_amps
        return Zone(-np.inf, edge, LIMIT_BLUR) if word == "no limit" else Zone(edge, np.inf, LIMIT_BLUR)

    def refuse(self, meter: Meter, value: float) -> str | None:
        """Refuse what no meter shows."""
        if abs(value) > meter.current.most:
            return f"the meter reads up to {format_quantity(meter.current.most, Unit.AMPERE)}; write amperes like 0.35A"
        return None
