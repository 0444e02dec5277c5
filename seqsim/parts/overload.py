"""What chips with a current limit do about an overload: limit for as long as it lasts, or stop and try again.

A hiccup is a rule: once the output current has been at its limit for some time, a gate trips; it holds an inner node at
1 V, which turns the output off, and lets go after a pause. The output then starts as it always does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

from seqsim.network import Owned, Row, RowClass
from seqsim.parts.chip import Chip
from seqsim.parts.part import Source, Standing, value
from seqsim.quantity import Unit

USUAL = Source("0.5 to 5 ms in the limit, then ten to fifty times as long off: common practice", Standing.COMMON)
OVERLOAD = 0.98
"""Share of the limit from which an output counts as overloaded."""
OVER = 0.9 * OVERLOAD
"""Share of the limit below which it no longer does."""


class LimitedChip(Chip):
    """A chip with a current limit at its output."""

    overload: Literal["limits", "hiccup"] = "limits"
    hiccup_time: float = value(
        Unit.SECOND, "time in its current limit after which a type with hiccup stops", 1e-3, source=USUAL, least=1e-6,
        most=10,
    )  # fmt: skip
    hiccup_pause: float = value(
        Unit.SECOND, "pause after which a type with hiccup starts again", 20e-3, source=USUAL, least=1e-6, most=100
    )

    @property
    def hiccups(self) -> bool:
        """Tell whether an overload makes it stop and try again."""
        return self.overload == "hiccup"

    @property
    def tripped(self) -> str:
        """Gate that is on from an overload until the pause after it is over."""
        return f"{self.name}:tripped"

    def emit_hiccup(self, net: Owned, current: Mapping[str, float], limit: float) -> tuple[Row, ...]:
        """Return the rows of a hiccup, and add what it needs; nothing for a type that only limits.

        ``current`` senses what stands for the output current, ``limit`` is what that is in the limit.
        """
        if not self.hiccups:
            return ()
        held = net.inner("tripped")
        net.hinge("trip", {}, {held: 1}, 1.0, 1.0, gate=self.tripped, clamped=False)
        net.hinge("trip level", {held: 1}, {held: 1}, 1.0, clamped=False)
        return (
            net.row("overload", current, OVERLOAD * limit, OVER * limit, RowClass.UNDERVOLTAGE),
            net.row("tripped", {held: 1}, 0.5, 0.4, RowClass.UNDERVOLTAGE),
        )

    def hiccup_rule(
        self,
    ) -> tuple[dict[str, Callable[[Mapping[str, bool]], bool]], dict[str, tuple[float, float]]]:
        """Return the output of the rule that trips, and its delays."""
        if not self.hiccups:
            return {}, {}
        return {"tripped": lambda sides: sides["overload"]}, {"tripped": (self.hiccup_time, self.hiccup_pause)}
