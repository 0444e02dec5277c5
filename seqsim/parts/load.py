"""Loads: what stands for the rest of the board on a rail, or for a pin of a chip that is not modelled.

A load by amperes draws nothing up to half of `full_volts`, rises in a straight line, and is constant from
`full_volts` on: two hinges of one slope, the second taking back what the first would add. So the current falls to
zero with the voltage, the load never feeds the rail, and a meter on the unpowered rail sees no false resistance.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.chip import clamp, clamp_model
from seqsim.parts.failing import LEAK, between, gone, turned
from seqsim.parts.part import JUDGED, UNKNOWN, Mode, Part, PartError, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

CHIP_PINS = ("PIN", "RAIL", "GND")


class Load(Part):
    """A load between two nets, or a chip's pin with its clamps to a rail and to ground."""

    title: ClassVar = "load"
    pin_names: ClassVar = ("1", "2")
    rate: ClassVar = Rate(5.0, Source("MIL-HDBK-217F parts count, small integrated circuits (2.6 to 7)", Standing.SEEN))
    symbol: ClassVar = "RBox"
    without_misfits: ClassVar = "it stands for what the drawing does not show"

    kind: Literal["load"] = "load"
    ohms: float | None = value(
        Unit.OHM, "resistance that draws the current", None, spread=0.2, least=1e-2, most=1e9, source=JUDGED
    )  # fmt: skip
    amps: float | None = value(
        Unit.AMPERE, "constant current, from full_volts on", None, spread=0.2, most=1e3, source=JUDGED
    )  # fmt: skip
    full_volts: float = value(
        Unit.VOLT, "voltage from which amps are drawn in full; half of it is needed to draw at all", 1.0,
        least=1e-2, most=1e3, source=Source("logic wakes up near one volt", Standing.COMMON),
    )  # fmt: skip
    clamps: bool = True

    @classmethod
    def pins_for(cls, given: Mapping[str, Any]) -> tuple[str, ...]:
        """Return 1 and 2, or PIN, RAIL and GND where the file uses these or lists three nets."""
        pins = given.get("pins", ())
        named = isinstance(pins, Mapping) and any(pin in CHIP_PINS for pin in pins)
        return CHIP_PINS if named or (not isinstance(pins, Mapping) and len(pins) == len(CHIP_PINS)) else ("1", "2")

    @classmethod
    def base_values(cls, given: Mapping[str, Any]) -> dict[str, Any]:
        """Return 1 kΩ or 10 mA (our judgement) for what is written `?`."""
        guesses = {"ohms": 1e3, "amps": 0.01}
        return {name: guess for name, guess in guesses.items() if given.get(name) == UNKNOWN}

    def check_values(self) -> None:
        """Check that there is something to draw, in one way."""
        if self.ohms is not None and self.amps is not None:
            raise PartError("amps", "give a load ohms or amps, not both; two loads can lie side by side")
        if self.ohms is None and self.amps is None and not (self.is_pin and self.clamps):
            raise PartError("ohms", "a load needs ohms or amps; write one, or '?' if it is unknown")

    @property
    def is_pin(self) -> bool:
        """Tell whether this is a chip's pin."""
        return "PIN" in self.pins

    @property
    def ends(self) -> tuple[str, str]:
        """The pins between which the load draws."""
        return ("PIN", "GND") if self.is_pin else ("1", "2")

    def emit(self, net: Owned) -> None:
        """Add a conductance, or a current that is limited, and the clamps of a pin."""
        first, second = self.ends
        across = {first: 1.0, second: -1.0}
        if self.ohms is not None:
            net.conductance("load", first, second, 1 / self.ohms)
            net.knob("ohms", 1.0, self.spread_of("ohms"), JUDGED.text, Turned("load", Effect.SCALE, -1.0))
        if self.amps is not None:
            slope = 2 * self.amps / self.full_volts
            back = {first: -1.0, second: 1.0}
            net.hinge("load", across, across, slope, 0.5 * self.full_volts)
            net.hinge("load in full", across, back, slope, self.full_volts, after="load")
            net.knob(
                "amps", 1.0, self.spread_of("amps"), JUDGED.text,
                Turned("load", Effect.SCALE), Turned("load in full", Effect.SCALE),
            )  # fmt: skip
        if self.is_pin and self.clamps:
            clamp(net, "clamp to rail", "PIN", "RAIL")
            clamp(net, "clamp to ground", "GND", "PIN")

    def modes(self) -> tuple[Mode, ...]:
        """Short, drawing too much, no longer drawing; of a pin also to its rail."""
        check = f"lift {self.name} with power off and measure what is left of the net"
        if self.is_pin:
            return (
                between(self, "PIN-GND short", 0.35, JUDGED, ("PIN", "GND")),
                between(self, "PIN-RAIL short", 0.15, JUDGED, ("PIN", "RAIL")),
                between(self, "PIN leaky", 0.35, JUDGED, ("PIN", "GND"), LEAK),
                gone(self, "PIN open", 0.15, JUDGED, check),
            )
        short = between(self, "short", 0.4, JUDGED, ("1", "2"))
        dead = gone(self, "open", 0.25, JUDGED, check)
        if self.ohms is not None:
            much = Severity("÷", Unit.NUMBER, 2.0, 100.0)
            return short, turned(self, "draws too much", 0.35, JUDGED, check, "ohms", much, down=True), dead
        much = Severity("x", Unit.NUMBER, 2.0, 100.0)
        return short, turned(self, "draws too much", 0.35, JUDGED, check, "amps", much), dead

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One R or B card, and two D cards with their model for the clamps."""
        first, second = (node[pin] for pin in self.ends)
        lines = []
        if self.ohms is not None:
            lines.append(f"R{tag} {first} {second} {self.ohms * node.knob('ohms')!r}")
        if self.amps is not None:
            risen = f"(V({first},{second})-{0.5 * self.full_volts!r})/{0.5 * self.full_volts!r}"
            lines.append(f"B{tag} {first} {second} I={self.amps * node.knob('amps')!r}*max(0,min(1,{risen}))")
        if self.is_pin and self.clamps:
            lines += [
                f"D{tag}r {node['PIN']} {node['RAIL']} m{tag}",
                f"D{tag}g {node['GND']} {node['PIN']} m{tag}",
                clamp_model(f"m{tag}", node),
            ]
        return tuple(lines)
