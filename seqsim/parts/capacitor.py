"""Capacitors: nothing at a steady level while they are sound, and often what pulls a rail down when they are not."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar, Literal

from seqsim.network import Owned, Turn
from seqsim.parts.failing import LEAK, SHORT, between, gone, turned
from seqsim.parts.part import JUDGED, TOLERANCE_TO_DEVIATION, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity

_TABLE = "MIL-HDBK-338B, failure-mode distributions, {}; shorts are split into hard ones and leaks by our judgement"
_SHARES = {
    "ceramic": (0.33, 0.16, 0.22, 0.29, _TABLE.format("ceramic capacitor")),
    "tantalum": (0.46, 0.23, 0.17, 0.14, _TABLE.format("tantalum electrolytic capacitor")),
    "electrolytic": (0.33, 0.20, 0.35, 0.12, _TABLE.format("aluminium electrolytic capacitor")),
    "film": (0.22, 0.18, 0.42, 0.18, _TABLE.format("plastic film capacitor")),
}
"""Shares of short, leaky, open and low, by dielectric."""
POLARISED = ("tantalum", "electrolytic")
REVERSED = Severity("ohms", Unit.OHM, 1.0, 1e4)
"""A polarised capacitor turned round conducts, more with every minute: our judgement."""


class Capacitor(Part):
    """A capacitor; pin 1 is the positive one where it matters."""

    title: ClassVar = "capacitor"
    pin_names: ClassVar = ("1", "2")
    rate: ClassVar = Rate(
        3.0,
        Source("between MIL-HDBK-217F parts count (0.6 to 2.6; aluminium 21) and SN 29500 (about 10)", Standing.MEMORY),
    )
    symbol: ClassVar = "Capacitor"

    kind: Literal["capacitor"] = "capacitor"
    type: Literal["ceramic", "tantalum", "electrolytic", "film"] = "ceramic"
    farads: float = value(
        Unit.FARAD, "capacitance", least=1e-13, most=100, source=Source("the circuit file", Standing.COMMON)
    )  # fmt: skip
    tolerance: float = value(
        Unit.SHARE, "largest deviation from the printed value", 0.1, most=1,
        source=Source("series E12, IEC 60063", Standing.SEEN),
    )  # fmt: skip
    volts: float | None = value(Unit.VOLT, "rated voltage", None, least=0.5, most=1e5)

    @classmethod
    def guess(cls, name: str) -> float:
        """Return 100 nF, the commonest decoupling capacitor."""
        return 1e-7 if name == "farads" else super().guess(name)

    def emit(self, net: Owned) -> None:
        """Add the capacitance; a steady level does not see it, so its knob turns nothing but the time it takes."""
        net.storage("1", "2", self.farads)
        spread = self.tolerance * TOLERANCE_TO_DEVIATION
        if "farads" in self.unknown or "farads" in self.spread:
            spread = self.spread_of("farads")
        net.knob("farads", 1.0, spread, "tolerance of the part")

    def modes(self) -> tuple[Mode, ...]:
        """Short, leaking, open, and with little capacitance left."""
        short, leaky, open_, low, text = _SHARES[self.type]
        source = Source(text, Standing.MEMORY)
        lift = f"lift one end of {self.name} with power off and measure its capacitance"
        return (
            between(self, "short", short, source, ("1", "2"), SHORT),
            between(self, "leaky", leaky, source, ("1", "2"), LEAK),
            gone(self, "open", open_, source, lift),
            turned(self, "low", low, source, lift, "farads", Severity("÷", Unit.NUMBER, 1.5, 30.0), down=True),
        )

    def misfits(self) -> tuple[Mode, ...]:
        """Return a value that is wrong by ten, which only a power-up shows, and a polarised type turned round."""
        farads = format_quantity(self.farads, Unit.FARAD)
        check = f"lift one end of {self.name} with power off and measure its capacitance: it should be {farads}"
        repair = f"fit the value of the drawing as {self.name}"
        part = self.name
        wrong = (
            Mode("value x10", 0.5, JUDGED, lambda _: (Turn(part, "farads", 10.0),), check, repair),
            Mode("value ÷10", 0.5, JUDGED, lambda _: (Turn(part, "farads", 0.1),), check, repair),
        )
        if self.type not in POLARISED:
            return wrong
        reversed_ = between(self, "reversed", 1.0, JUDGED, ("1", "2"), REVERSED)
        look = f"compare the stripe of {self.name} with the drawing; a stripe marks plus on a tantalum, minus on a can"
        return (*wrong, replace(reversed_, confirm=look, repair=f"replace {self.name}, the right way round"))

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One C card."""
        return (f"C{tag} {node['1']} {node['2']} {self.farads * node.knob('farads')!r}",)
