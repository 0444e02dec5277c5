"""Black boxes: an output that is high, low or open when a stated condition on the inputs holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.chip import LOGIC_FAILURES, Chip, Driver, step, whole
from seqsim.parts.condition import Above, Condition, Joined, Not, parse_condition
from seqsim.parts.part import JUDGED, Mode, PartError, Rate, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

MOST_COMPARISONS = 8
"""Most comparisons in the conditions of one part: its truth table doubles with each."""
STEADY_PINS = ("VCC", "GND")
Drive = Literal["high", "low", "open"]


class BlackBox(Chip):
    """A part of which only this is known: how its output follows its inputs.

    ``open_when`` is looked at first, then ``low_when``, then ``high_when``; if none holds, the output is as
    ``otherwise`` says. Without ``otherwise`` it is open where both of the other two are stated, low where the
    high is, high where the low is, and low where only the open is.
    """

    title: ClassVar = "black box"
    pin_names: ClassVar = ("A", "B", "OUT", "VCC", "GND")
    rate: ClassVar = Rate(
        10.0, Source("217F parts count: linear circuit up to 300 transistors against a film resistor", Standing.SEEN)
    )
    symbol: ClassVar = "Ic"

    kind: Literal["black_box"] = "black_box"
    out: str = "OUT"
    high_when: str | None = None
    low_when: str | None = None
    open_when: str | None = None
    otherwise: Drive | None = None
    output_ohms: float = value(
        Unit.OHM, "resistance of the output when driven", 50.0, source=JUDGED, least=0.01, most=1e6
    )
    output_amps: float = value(Unit.AMPERE, "most that the output gives or takes", 20e-3, source=JUDGED, least=1e-6)
    minimum_supply: float = value(Unit.VOLT, "least VCC, where that pin is there", 1.5, source=JUDGED, least=0.1)
    threshold_spread: float = value(Unit.VOLT, "standard deviation of its thresholds", 0.1, source=JUDGED, most=100)

    @classmethod
    def pins_for(cls, given: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the pins that the file names: they may be any; a list has no meaning here."""
        pins = given.get("pins", dict.fromkeys(cls.pin_names))
        if not isinstance(pins, Mapping):
            raise PartError("pins", "pins of a black box must be named, like {A: NET1, OUT: NET2, GND: GND}")
        return tuple(str(pin) for pin in pins)

    def check_values(self) -> None:
        """Refuse a box without output, ground or condition, and conditions that cannot be parsed."""
        for pin in (self.out, "GND"):
            if pin not in self.pins:
                raise PartError("pins", f"this black box has no pin {pin}; name its net under pins")
        if self.high_when is self.low_when is self.open_when is None:
            raise PartError("high_when", "a black box needs at least one of high_when, low_when and open_when")
        count = len(self.comparisons)
        if count > MOST_COMPARISONS:
            message = (
                f"its conditions make {count} comparisons, at most {MOST_COMPARISONS} are possible; split the part"
            )
            raise PartError("high_when", message)
        if self.drives_high and "VCC" not in self.pins:
            raise PartError("pins", "a black box that drives its output high needs a pin VCC to drive it from")

    @property
    def conditions(self) -> Mapping[Drive, Condition]:
        """What is stated of the output, in the order in which it is looked at."""
        inputs = [pin for pin in self.pins if pin not in (self.out, *STEADY_PINS)]
        stated: tuple[tuple[Drive, str | None], ...] = (
            ("open", self.open_when), ("low", self.low_when), ("high", self.high_when),
        )  # fmt: skip
        return {drive: parse_condition(text, inputs, f"{drive}_when") for drive, text in stated if text is not None}

    @property
    def fallback(self) -> Drive:
        """How the output is when none of the conditions holds."""
        if self.otherwise is not None:
            return self.otherwise
        if self.high_when is not None:
            return "low" if self.low_when is None else "open"
        return "low" if self.low_when is None else "high"

    @property
    def drives_high(self) -> bool:
        """Whether the output is ever driven high."""
        return self.high_when is not None or self.fallback == "high"

    @property
    def drives_low(self) -> bool:
        """Whether the output is ever driven low."""
        return self.low_when is not None or self.fallback == "low"

    @property
    def comparisons(self) -> tuple[Above, ...]:
        """The comparisons of all conditions, each once."""
        found = (above for condition in self.conditions.values() for above in condition.comparisons())
        return tuple(dict.fromkeys(found))

    @property
    def driver(self) -> Driver:
        """The output stage."""
        return Driver(self.output_ohms, self.output_ohms, self.output_amps)

    def emit(self, net: Owned) -> None:
        """Add one row a comparison, the supply row, and the output stage."""
        conditions, fallback = self.conditions, self.fallback
        rows = [
            net.row(above.row, {above.pin: 1, "GND": -1}, above.volts, above.volts, high_impedance=True)
            for above in self.comparisons
        ]
        supplied = "VCC" in self.pins
        if supplied:
            rows.insert(0, self.supply_row(net, self.minimum_supply))

        def drive(sides: Mapping[str, bool]) -> Drive:
            if supplied and not sides["supply"]:
                return "open"
            return next((way for way, condition in conditions.items() if condition.holds(sides)), fallback)

        high, low = self._gates()
        label = {"high": f"{self.out} high", "low": f"{self.out} low"}
        outputs = {}
        if high is not None:
            outputs[label["high"]] = lambda sides: drive(sides) == "high"
        if low is not None:
            outputs[label["low"]] = lambda sides: drive(sides) == "low"
        net.rule(tuple(rows), outputs)
        turned = (Turned(above.row, Effect.ROW) for above in self.comparisons)
        net.knob("threshold", 0.0, self.threshold_spread, "thresholds of a black box: seqsim's judgement", *turned)
        self.emit_output(net, self.out, self.driver, high=high, low=low)
        if supplied:
            self.emit_draw(net)

    def _gates(self) -> tuple[str | None, str | None]:
        high = f"{self.name}:{self.out} high" if self.drives_high else None
        return high, f"{self.name}:{self.out} low" if self.drives_low else None

    def modes(self) -> tuple[Mode, ...]:
        """Output open, stuck or weak, inputs that it no longer follows, dead."""
        high, low = self._gates()
        comparisons = [above.row for above in self.comparisons]
        modes = [*self.output_modes(self.out, high=high, low=low, source=LOGIC_FAILURES)]
        each = 0.36 / (2 * len(comparisons))
        watch = f"whether {self.pin(self.out)} follows its inputs"
        modes += [
            self.mode(f"{row} stuck {word}", each, LOGIC_FAILURES, self.held(row, word), watch)
            for row in comparisons
            for word in ("low", "high")
        ]
        if "VCC" in self.pins:
            modes.append(self.dead(0.12, LOGIC_FAILURES))
        return whole(*modes)

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """Behavioural sources for the output."""
        free = self.supply_card(node, self.minimum_supply) if "VCC" in node else "1"
        way = {"high": "0", "low": "0", "open": "0"}
        for drive, condition in self.conditions.items():
            holds = _spice(condition, node)
            way[drive] = f"{free}*{holds}"
            free = f"{free}*(1-{holds})"
        way[self.fallback] = free if way[self.fallback] == "0" else f"({way[self.fallback]}+{free})"
        high, low = self._gates()
        output = self.output_cards(
            tag, node, self.out, self.driver, high=way["high"] if high else None, low=way["low"] if low else None
        )
        return (*output, *(self.draw_cards(tag, node) if "VCC" in node else ()))


def _spice(condition: Condition, node: Wiring) -> str:
    match condition:
        case Above():
            threshold = condition.volts + node.knob("threshold", 0.0)
            return node.side(condition.row, step(f"V({node[condition.pin]},{node['GND']})", threshold))
        case Not():
            return f"(1-{_spice(condition.of, node)})"
        case Joined():
            parts = [_spice(each, node) for each in condition.of]
            if condition.word == "and":
                return f"({'*'.join(parts)})"
            return f"(1-{'*'.join(f'(1-{part})' for part in parts)})"
