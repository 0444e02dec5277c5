"""Comparators: one row on the difference of two pins, an open-drain or push-pull output.

With `headroom`, the inputs work up to that much below the supply: one of them may lie higher and the comparison still
holds; with both above it the output lets go, which is what parts of the LM393 class as a rule do (data sheets leave it
open; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import ClassVar, Literal

from seqsim.network import Effect, Owned, RowClass, Turned
from seqsim.parts.chip import Chip, Driver, step, whole
from seqsim.parts.part import JUDGED, Mode, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

FAILURES = Source("LM2901-Q1 (SLCA003) and LDC0851 (SFFS826A) failure-mode splits, between the two", Standing.SEEN)
LM393 = Source("LM393 data sheets: offset at most 5 mV, output 80 to 250 mV at 4 mA, sinks 16 mA", Standing.SEEN)
DRIVER = Driver(high_ohms=40.0, low_ohms=40.0, amps=16e-3)
"""Output stage of the LM393 class; the high side exists in push-pull types only."""


INPUTS = ("INP", "INN")


def beyond(sides: Mapping[str, bool]) -> bool:
    """Tell whether both inputs lie above what the comparator can compare."""
    return all(sides.get(f"{pin} too high", False) for pin in INPUTS)


class Comparator(Chip):
    """A comparator: its output is high while INP lies above INN."""

    title: ClassVar = "comparator"
    pin_names: ClassVar = ("INP", "INN", "OUT", "VCC", "GND")
    rate: ClassVar = Rate(
        7.0, Source("217F parts count: linear circuit up to 100 transistors against a film resistor", Standing.SEEN)
    )
    symbol: ClassVar = "Opamp"

    kind: Literal["comparator"] = "comparator"
    output: Literal["push-pull", "open-drain"] = "open-drain"
    offset: float = value(
        Unit.VOLT, "INP must exceed INN by this; its spread is that of the input offset", 0.0,
        spread=5e-3 / 3, absolute=True, source=LM393, least=-1, most=1,
    )  # fmt: skip
    hysteresis: float = value(Unit.VOLT, "distance between the two thresholds", 0.0, most=5)
    headroom: float | None = value(
        Unit.VOLT, "both inputs nearer than this to the supply: no comparison, the output lets go (LM393: 1.5 V)", None,
        source=Source("LM393 data sheets: inputs from 0 V to VCC - 1.5 V", Standing.SEEN), most=10,
    )  # fmt: skip
    minimum_supply: float = value(Unit.VOLT, "least supply", 1.8, source=JUDGED, least=0.5, most=30)

    def emit(self, net: Owned) -> None:
        """Add the row on the difference of its inputs, the supply row and the output stage."""
        half = self.hysteresis / 2
        difference = {"INP": 1.0, "INN": -1.0}
        compared = net.row(
            "inputs", difference, self.offset + half, self.offset - half, RowClass.COMPARATOR, high_impedance=True
        )
        rows = [self.supply_row(net, self.minimum_supply), compared]
        if self.headroom is not None:
            rows += [
                net.row(
                    f"{pin} too high", {pin: 1.0, "VCC": -1.0}, -self.headroom, -self.headroom, RowClass.COMPARATOR,
                    high_impedance=True,
                )
                for pin in INPUTS
            ]  # fmt: skip
        outputs: dict[str, Callable[[Mapping[str, bool]], bool]] = {
            "OUT high": lambda sides: sides["supply"] and (sides["inputs"] or beyond(sides)),
            "OUT low": lambda sides: sides["supply"] and not (sides["inputs"] or beyond(sides)),
        }
        if self.output == "open-drain":
            del outputs["OUT high"]
        net.rule(tuple(rows), outputs)
        net.knob("offset", 0.0, self.spread_of("offset"), LM393.text, Turned("inputs", Effect.ROW))
        high, low = self._gates()
        self.emit_output(net, "OUT", DRIVER, high=high, low=low, clamped=high is not None)
        self.emit_draw(net)

    def _gates(self) -> tuple[str | None, str]:
        return (f"{self.name}:OUT high" if self.output == "push-pull" else None), f"{self.name}:OUT low"

    def modes(self) -> tuple[Mode, ...]:
        """Output open, stuck or weak, comparison stuck or with a wrong threshold, dead."""
        high, low = self._gates()
        return whole(
            *self.output_modes("OUT", high=high, low=low, source=FAILURES),
            *(
                self.mode(f"inputs stuck {word}", 0.07, JUDGED, self.held("inputs", word), "whether the output follows")
                for word in ("low", "high")
            ),
            *(
                self.shifted(
                    f"threshold {word}", 0.10, FAILURES,
                    f"measure {self.pin('INP')} against {self.pin('INN')} in both states of the output",
                    "offset", sign, Severity("by", Unit.VOLT, 0.02, 2.0),
                )
                for word, sign in (("high", 1.0), ("low", -1.0))
            ),
            self.dead(0.10, FAILURES),
        )  # fmt: skip

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """Behavioural sources for the output; the comparison switches in the middle of its hysteresis."""
        powered = self.supply_card(node, self.minimum_supply)
        offset = self.offset + node.knob("offset", 0.0)
        above = node.side("inputs", step(f"V({node['INP']},{node['INN']})", offset, 2000.0))
        if self.headroom is not None:
            supply = node["VCC"]
            first, second = (
                node.side(f"{pin} too high", step(f"V({node[pin]},{supply})", -self.headroom)) for pin in INPUTS
            )
            above = f"(1-(1-{above})*(1-{first}*{second}))"
        high = f"{powered}*{above}" if self.output == "push-pull" else None
        low = f"{powered}*(1-{above})"
        output = self.output_cards(tag, node, "OUT", DRIVER, high=high, low=low, clamped=high is not None)
        return (*output, *self.draw_cards(tag, node))
