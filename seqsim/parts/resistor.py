"""Resistors."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from seqsim.network import Effect, Owned, Patch, Turn, Turned
from seqsim.parts.failing import HARD_SHORT, between, gone, turned
from seqsim.parts.part import (
    COMMON,
    JUDGED,
    TOLERANCE_TO_DEVIATION,
    Mode,
    Part,
    Rate,
    Severity,
    Source,
    Standing,
    value,
)
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity

FAILURES = Source("MIL-HDBK-338B, failure-mode distributions, fixed film resistor", Standing.MEMORY)
WRONG_VALUES = (("x10", 10.0, 0.35), ("÷10", 0.1, 0.35), ("x100", 100.0, 0.15), ("÷100", 0.01, 0.15))
"""Names, factors and shares of values that are wrong by a digit of the marking: our judgement."""
LEAST_OHMS = 1e-3
"""What zero ohms stand for: our judgement, a thick-film link is specified below 50 mΩ."""


class Resistor(Part):
    """A fixed resistor."""

    title: ClassVar = "fixed resistor"
    pin_names: ClassVar = ("1", "2")
    rate: ClassVar = Rate(1.0, Source("MIL-HDBK-217F parts count, film resistor as the unit", Standing.SEEN))
    symbol: ClassVar = "Resistor"
    passive: ClassVar = True

    kind: Literal["resistor"] = "resistor"
    ohms: float = value(Unit.OHM, "resistance", most=1e9, source=Source("the circuit file", Standing.COMMON))
    tolerance: float = value(
        Unit.SHARE, "largest deviation from the printed value", 0.05, most=1,
        source=Source("series E24, IEC 60063", Standing.SEEN),
    )  # fmt: skip
    watts: float | None = value(Unit.WATT, "rated power", None, most=1e3, source=COMMON)

    @classmethod
    def guess(cls, name: str) -> float:
        """Return 10 kΩ, the middle of 100 Ω to 1 MΩ on a logarithmic scale."""
        return 1e4 if name == "ohms" else super().guess(name)

    def emit(self, net: Owned) -> None:
        """Add one conductance; zero ohms stand for 1 mΩ."""
        net.conductance("resistance", "1", "2", 1 / max(self.ohms, LEAST_OHMS))
        spread = self.tolerance * TOLERANCE_TO_DEVIATION
        if "ohms" in self.unknown or "ohms" in self.spread:
            spread = self.spread_of("ohms")
        net.knob("ohms", 1.0, spread, "tolerance of the part", Turned("resistance", Effect.SCALE, -1.0))

    def modes(self) -> tuple[Mode, ...]:
        """Open, drifted up, drifted down, and (rarely) short."""
        lift = f"lift one end of {self.name} with power off and measure it"
        return (
            gone(
                self, "open", 0.59, FAILURES,
                f"measure {self.pin('1')} to {self.pin('2')} with power off: it reads far above "
                f"{format_quantity(self.ohms, Unit.OHM)}",
            ),
            turned(self, "high", 0.30, FAILURES, lift, "ohms", Severity("x", Unit.NUMBER, 1.5, 30.0)),
            turned(self, "low", 0.06, JUDGED, lift, "ohms", Severity("÷", Unit.NUMBER, 1.5, 30.0), down=True),
            between(self, "short", 0.05, FAILURES, ("1", "2"), HARD_SHORT),
        )  # fmt: skip

    def misfits(self) -> tuple[Mode, ...]:
        """Return a value that is wrong by ten or a hundred: a digit of its marking, or the wrong reel."""
        ohms = format_quantity(self.ohms, Unit.OHM)
        check = f"read the marking of {self.name}; with power off lift one end and measure it: it should be {ohms}"
        return tuple(
            Mode(f"value {name}", share, JUDGED, _valued(self.name, factor), check, f"fit {ohms} as {self.name}")
            for name, factor, share in WRONG_VALUES
        )

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One R card."""
        return (f"R{tag} {node['1']} {node['2']} {max(self.ohms, LEAST_OHMS) * node.knob('ohms')!r}",)


def _valued(name: str, factor: float) -> Callable[[float | NDArray[np.float64]], tuple[Patch, ...]]:
    return lambda _: (Turn(name, "ohms", factor),)
