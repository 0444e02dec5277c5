"""Inductors and ferrite beads: at a steady level, the resistance of their wire."""

from __future__ import annotations

from typing import ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.failing import HARD_SHORT, between, gone, turned
from seqsim.parts.part import COMMON, JUDGED, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity


class Winding(Part):
    """What inductors and ferrite beads share; ``shares`` are those of open, high and short."""

    pin_names: ClassVar = ("1", "2")
    passive: ClassVar = True
    rate: ClassVar = Rate(1.2, Source("MIL-HDBK-217F parts count, fixed coil", Standing.SEEN))
    symbol: ClassVar = "Inductor2"
    without_misfits: ClassVar = "turned round it is the same, and at rest it is a wire whatever its value"
    shares: ClassVar[tuple[float, float, float]]
    failures: ClassVar[Source]

    henries: float | None = value(Unit.HENRY, "inductance", None, least=1e-10, most=1e3)
    ohms: float = value(
        Unit.OHM, "resistance of the wire", 0.05, spread=0.2, least=1e-4, most=1e5,
        source=Source("power inductors and beads of one to some amperes: 10 to 200 mΩ", Standing.COMMON),
    )  # fmt: skip
    amps: float | None = value(Unit.AMPERE, "rated current", None, most=1e3, source=COMMON)

    def emit(self, net: Owned) -> None:
        """Add one conductance."""
        net.conductance("winding", "1", "2", 1 / self.ohms)
        net.knob("ohms", 1.0, self.spread_of("ohms"), JUDGED.text, Turned("winding", Effect.SCALE, -1.0))

    def modes(self) -> tuple[Mode, ...]:
        """Open, high in resistance, short between its ends."""
        broken, high, short = self.shares
        reads = format_quantity(self.ohms, Unit.OHM)
        check = f"measure {self.pin('1')} to {self.pin('2')} with power off: it reads far above {reads}"
        return (
            gone(self, "open", broken, self.failures, check),
            turned(self, "high", high, self.failures, check, "ohms", Severity("x", Unit.NUMBER, 3.0, 1e4)),
            between(self, "short", short, self.failures, ("1", "2"), HARD_SHORT),
        )

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One R card, and an L card before it where the inductance is known."""
        ohms = self.ohms * node.knob("ohms")
        if self.henries is None:
            return (f"R{tag} {node['1']} {node['2']} {ohms!r}",)
        middle = f"w{tag}"
        return (f"L{tag} {node['1']} {middle} {self.henries!r}", f"R{tag} {middle} {node['2']} {ohms!r}")


class Inductor(Winding):
    """An inductor."""

    title: ClassVar = "inductor"
    shares: ClassVar = (0.56, 0.13, 0.31)
    failures: ClassVar = Source(
        "mean of MIL-HDBK-338B (open 0.42, short 0.42) and Birolini (0.70, 0.20), coil", Standing.MEMORY
    )
    kind: Literal["inductor"] = "inductor"


class Ferrite(Winding):
    """A ferrite bead."""

    title: ClassVar = "ferrite bead"
    shares: ClassVar = (0.75, 0.20, 0.05)
    failures: ClassVar = Source("beads crack or burn open; seqsim's judgement", Standing.JUDGEMENT)
    kind: Literal["ferrite"] = "ferrite"
