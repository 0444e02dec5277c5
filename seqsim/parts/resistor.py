"""Resistors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Literal

from seqsim.network import Bridge, Disable, Effect, Owned, Turn, Turned
from seqsim.parts.part import JUDGED, TOLERANCE_TO_DEVIATION, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.quantity import Unit

FAILURES = Source("MIL-HDBK-338B, failure-mode distributions, fixed film resistor", Standing.MEMORY)


class Resistor(Part):
    """A fixed resistor."""

    title: ClassVar = "fixed resistor"
    pin_names: ClassVar = ("1", "2")
    rate: ClassVar = Rate(1.0, Source("MIL-HDBK-217F parts count, film resistor as the unit", Standing.SEEN))
    symbol: ClassVar = "Resistor"
    passive: ClassVar = True

    kind: Literal["resistor"] = "resistor"
    ohms: float = value(Unit.OHM, "resistance", most=1e9)
    tolerance: float = value(Unit.SHARE, "largest deviation from the printed value", 0.05, most=1)
    watts: float | None = value(Unit.WATT, "rated power", None)

    @classmethod
    def guess(cls, name: str) -> float:
        """Return 10 kΩ, the middle of 100 Ω to 1 MΩ on a logarithmic scale."""
        return 1e4 if name == "ohms" else super().guess(name)

    def emit(self, net: Owned) -> None:
        """Add one conductance; zero ohms stand for 1 mΩ."""
        net.conductance("resistance", "1", "2", 1 / max(self.ohms, 1e-3))
        spread = self.tolerance * TOLERANCE_TO_DEVIATION
        if "ohms" in self.unknown or "ohms" in self.spread:
            spread = self.spread_of("ohms")
        net.knob("ohms", 1.0, spread, "tolerance printed on the part", Turned("resistance", Effect.SCALE, -1.0))

    def modes(self) -> tuple[Mode, ...]:
        """Open, drifted up, drifted down, and (rarely) short."""
        first, second = self.pin("1"), self.pin("2")
        return (
            Mode(
                "open", 0.59, FAILURES, lambda _: (Disable(self.name),),
                f"measure {first} to {second} with power off: it reads far above {self.ohms:g} Ω",
                f"replace {self.name}",
            ),
            Mode(
                "high", 0.30, FAILURES, lambda factor: (Turn(self.name, "ohms", factor),),
                f"lift one end of {self.name} and measure it", f"replace {self.name}",
                Severity("x", Unit.NUMBER, 1.5, 30.0),
            ),
            Mode(
                "low", 0.06, JUDGED, lambda factor: (Turn(self.name, "ohms", 1 / factor),),
                f"lift one end of {self.name} and measure it", f"replace {self.name}",
                Severity("÷", Unit.NUMBER, 1.5, 30.0),
            ),
            Mode(
                "short", 0.05, FAILURES, lambda ohms: (Bridge(first, second, 1 / ohms, self.name),),
                f"measure {first} to {second} with power off: it beeps", f"replace {self.name}",
                Severity("ohms", Unit.OHM, 0.1, 10.0),
            ),
        )  # fmt: skip

    def cards(self, tag: str, node: Mapping[str, str]) -> tuple[str, ...]:
        """One R card."""
        return (f"R{tag} {node['1']} {node['2']} {max(self.ohms, 1e-3)!r}",)
