"""Contacts: switches, push buttons and jumpers; gate `NAME:closed` says how they stand."""

from __future__ import annotations

from typing import ClassVar

from seqsim.network import Effect, Owned, SetGate, Turned
from seqsim.parts.failing import turned
from seqsim.parts.part import JUDGED, Mode, Part, Rate, Severity, Source, Standing, family_of, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

OPEN_OHMS = 1e12
"""What an open contact is in SPICE: far above the 1 nS from each node to ground."""


class Contact(Part):
    """What switches, buttons and jumpers share; ``shares`` are those of stuck open, stuck closed, and high."""

    pin_names: ClassVar = ("1", "2")
    passive: ClassVar = True
    without_misfits: ClassVar = "how it stands is said by the power state; jumpers in a wrong place come in pairs"
    shares: ClassVar[tuple[float, float, float]]
    failures: ClassVar[Source] = JUDGED

    closed: bool = False
    ohms: float = value(
        Unit.OHM, "resistance when closed", 0.05, spread=0.3, least=1e-4, most=1e4,
        source=Source("new contacts: below 0.1 Ω", Standing.COMMON),
    )  # fmt: skip

    def emit(self, net: Owned) -> None:
        """Add a conductance that the gate `closed` switches."""
        gate = net.gate("closed", on=self.closed)
        net.conductance("contact", "1", "2", 1 / self.ohms, gate=gate)
        net.knob("ohms", 1.0, self.spread_of("ohms"), JUDGED.text, Turned("contact", Effect.SCALE, -1.0))

    def modes(self) -> tuple[Mode, ...]:
        """Never closes, never opens, closes badly."""
        never, always, high = self.shares
        first, second, gate = self.pin("1"), self.pin("2"), f"{self.name}:closed"
        check = f"measure {first} to {second} with power off, with {self.name} closed and then open"
        return (
            Mode(
                "stuck open", never, self.failures, lambda _: (SetGate(gate, on=False),), check,
                f"replace {self.name}",
            ),
            Mode(
                "stuck closed", always, self.failures, lambda _: (SetGate(gate, on=True),), check,
                f"replace {self.name}",
            ),
            turned(self, "high", high, self.failures, check, "ohms", Severity("x", Unit.NUMBER, 10.0, 1e5)),
        )  # fmt: skip

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One R card for the position that the part stands in."""
        closed = node.gate("closed", "1" if self.closed else "0") == "1"
        ohms = self.ohms * node.knob("ohms")
        return (f"R{tag} {node['1']} {node['2']} {ohms if closed else OPEN_OHMS!r}",)


MOVED = Rate(5.0, Source("moving contacts wear: seqsim's judgement", Standing.JUDGEMENT))
PLUGGED = Rate(2.0, Source("a plugged contact: seqsim's judgement", Standing.JUDGEMENT))

CONTACTS = (
    family_of(
        Contact, "switch", "A switch that stays where it is put.", title="switch", symbol="Switch", rate=MOVED,
        shares=(0.5, 0.2, 0.3),
    ),
    family_of(
        Contact, "button", "A push button; it conducts while it is pressed.", title="push button", symbol="Button",
        rate=MOVED, shares=(0.5, 0.2, 0.3),
    ),
    family_of(
        Contact, "jumper", "A jumper or a solder bridge; fitted unless the file says otherwise.", title="jumper",
        symbol="Jumper", rate=PLUGGED, shares=(0.6, 0.1, 0.3), closed=True,
    ),
)  # fmt: skip
"""The kinds of contacts: how they rest, how often they fail, and how."""
