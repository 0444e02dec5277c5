"""Fuses."""

from __future__ import annotations

from typing import ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.failing import gone, turned
from seqsim.parts.part import JUDGED, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit


class Fuse(Part):
    """A fuse or a self-resetting one."""

    title: ClassVar = "fuse"
    pin_names: ClassVar = ("1", "2")
    passive: ClassVar = True
    rate: ClassVar = Rate(7.0, Source("MIL-HDBK-217F parts count, fuse", Standing.SEEN))
    symbol: ClassVar = "Fuse"
    without_misfits: ClassVar = "turned round it is the same, and a wrong rating shows only when it should blow"

    kind: Literal["fuse"] = "fuse"
    ohms: float = value(
        Unit.OHM, "cold resistance", 0.05, spread=0.3, least=1e-4, most=1e4,
        source=Source("chip fuses of 1 to 3 A: 20 to 100 mΩ", Standing.COMMON),
    )  # fmt: skip
    amps: float | None = value(Unit.AMPERE, "rated current", None, least=1e-3, most=1e3)

    def emit(self, net: Owned) -> None:
        """Add one conductance."""
        net.conductance("fuse wire", "1", "2", 1 / self.ohms)
        net.knob("ohms", 1.0, self.spread_of("ohms"), JUDGED.text, Turned("fuse wire", Effect.SCALE, -1.0))

    def modes(self) -> tuple[Mode, ...]:
        """Blown, or high in resistance; a fuse that fails to blow cannot be told from a good one."""
        check = f"measure {self.pin('1')} to {self.pin('2')} with power off: a good fuse beeps"
        repair = "find out first what made it blow"
        blown = gone(self, "open", 0.92, JUDGED, f"{check}; {repair}")
        high = turned(self, "high", 0.08, JUDGED, check, "ohms", Severity("x", Unit.NUMBER, 10.0, 1e4))
        return blown, high

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One R card."""
        return (f"R{tag} {node['1']} {node['2']} {self.ohms * node.knob('ohms')!r}",)
