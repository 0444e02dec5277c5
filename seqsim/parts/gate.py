"""Logic gates: and, or, nand, nor, xor, xnor, not, buffer, in the families that boards are made of.

The threshold of a healthy gate lies between its family's VIL and VIH at the nominal supply; that window is taken
as three standard deviations each way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Any, ClassVar, Literal

from pydantic import field_validator

from seqsim.network import Effect, Owned, Row, Turned
from seqsim.parts.chip import LOGIC_FAILURES, Chip, Driver, clamp, clamp_model, step, whole
from seqsim.parts.part import Mode, Rate, Source, Standing, family_of, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit


@dataclass(frozen=True, slots=True)
class Levels:
    """Guaranteed levels (V) at a supply: inputs, and outputs at ``amps`` out of or into the pin."""

    supply: float
    input_high: float
    input_low: float
    output_high: float
    output_low: float
    amps: float
    source: Source


@dataclass(frozen=True, slots=True)
class Family:
    """A logic family.

    ``ratiometric`` tells whether its threshold follows the supply. ``driver`` holds typical output resistances and
    the short-circuit current. ``clamp_to_supply``: inputs and complementary outputs have a diode to the supply, so
    that an unpowered gate is fed through them. ``pull_up`` is the current (A) that an input gives at 0.4 V (bipolar
    inputs), which lifts an open input to ``open_input`` volts.
    """

    levels: tuple[Levels, ...]
    usual_supply: float
    minimum_supply: float
    ratiometric: bool
    driver: Driver
    clamp_to_supply: bool
    pull_up: float = 0.0
    open_input: float = 0.0

    def window(self, supply: float) -> tuple[float, float]:
        """Return VIL and VIH (V) at a supply, from the nearest row of the family's table."""
        row = min(self.levels, key=lambda row: abs(math.log(row.supply / supply)))
        scale = supply / row.supply if self.ratiometric else 1.0
        return row.input_low * scale, row.input_high * scale


_SEEN, _MEMORY = Standing.SEEN, Standing.MEMORY
_LVC_LOW = Source("levels of 74LVC1G gates (JESD8-7A: 0.65 and 0.35 VCC)", _MEMORY)
_LVC_SHEET = Source("HD74LVC04 data sheet", _SEEN)
_AUP = Source("SN74AUP1G08 data sheet (SCES502)", _SEEN)
FAMILIES: Mapping[str, Family] = {
    "4000": Family(
        (Levels(5.0, 3.5, 1.5, 4.95, 0.05, 1e-6, Source("Lessons in Electric Circuits IV, CMOS levels", _SEEN)),),
        5.0, 2.5, True, Driver(500.0, 400.0, 4e-3), True,
    ),
    "hc": Family(
        (Levels(4.5, 3.15, 1.35, 3.84, 0.33, 4e-3, Source("74HC data sheets, -40 to 85 °C", _MEMORY)),),
        5.0, 1.5, True, Driver(45.0, 40.0, 40e-3), True,
    ),
    "hct": Family(
        (Levels(4.5, 2.0, 0.8, 3.84, 0.33, 4e-3, Source("MM74HCT00 and CD74HCT08 data sheets", _SEEN)),),
        5.0, 2.0, False, Driver(45.0, 40.0, 40e-3), True,
    ),
    "vhct": Family(
        (
            Levels(3.0, 1.4, 0.45, 2.48, 0.44, 4e-3, Source("MC74VHC1GT125 data sheet, 3.0 V; outputs", _MEMORY)),
            Levels(4.5, 2.0, 0.8, 3.8, 0.44, 8e-3, Source("MC74VHC1GT125 data sheet; outputs", _MEMORY)),
        ),
        5.0, 2.0, False, Driver(30.0, 25.0, 60e-3), False,
    ),
    "lvc": Family(
        (
            Levels(1.8, 1.17, 0.63, 1.2, 0.45, 4e-3, _LVC_LOW),
            Levels(2.5, 1.7, 0.7, 1.9, 0.4, 8e-3, Source("74LVC1G data sheets, 2.3 to 2.7 V", _MEMORY)),
            Levels(3.0, 2.0, 0.8, 2.2, 0.4, 12e-3, _LVC_SHEET),
            Levels(3.3, 2.0, 0.8, 2.4, 0.4, 12e-3, _LVC_SHEET),
            Levels(5.0, 3.5, 1.5, 3.8, 0.55, 24e-3, _LVC_SHEET),
        ),
        3.3, 1.2, True, Driver(18.0, 13.0, 100e-3), False,
    ),
    "aup": Family(
        (
            Levels(1.2, 0.78, 0.42, 0.9, 0.3, 1.1e-3, _AUP),
            Levels(1.8, 1.17, 0.63, 1.35, 0.45, 1.9e-3, _AUP),
            Levels(2.5, 1.6, 0.7, 1.9, 0.45, 3.1e-3, _AUP),
            Levels(3.3, 2.0, 0.9, 2.6, 0.44, 4e-3, _AUP),
        ),
        1.8, 0.75, True, Driver(60.0, 55.0, 30e-3), False,
    ),
    "ls": Family(
        (Levels(5.0, 2.0, 0.8, 2.7, 0.5, 8e-3, Source("DM74LS08 data sheet; Lessons in Electric Circuits IV", _SEEN)),),
        5.0, 3.5, False, Driver(120.0, 35.0, 60e-3, drop=1.5), False, pull_up=0.2e-3, open_input=1.6,
    ),
}  # fmt: skip
"""Levels with their sources; output resistances, limits and minimum supplies are typical figures from memory."""

INPUTS = ("A", "B", "C", "D")


@dataclass(frozen=True, slots=True)
class Operation:
    """What a gate does with its inputs, as a truth function and pairwise as a SPICE expression."""

    combine: Callable[[Iterable[bool]], bool]
    spice: Callable[[str, str], str]


ALL = Operation(all, lambda a, b: f"({a}*{b})")
ANY = Operation(any, lambda a, b: f"(1-(1-{a})*(1-{b}))")
ODD = Operation(lambda sides: sum(sides) % 2 == 1, lambda a, b: f"({a}*(1-{b})+{b}*(1-{a}))")


class LogicGate(Chip):
    """What all gates share; subclasses say what they do with their inputs."""

    pin_names: ClassVar[tuple[str, ...]] = (*INPUTS, "Y", "VCC", "GND")
    optional_pins: ClassVar[frozenset[str]] = frozenset({"C", "D"})
    rate: ClassVar = Rate(
        4.0, Source("217F parts count: MOS logic up to 100 gates against a film resistor", Standing.SEEN)
    )
    operation: ClassVar[Operation]
    inverting: ClassVar[bool] = False

    family: Literal["4000", "hc", "hct", "vhct", "lvc", "aup", "ls"] = "lvc"
    output: Literal["push-pull", "open-drain"] = "push-pull"
    schmitt: bool = False
    supply_volts: float | None = value(
        Unit.VOLT, "nominal supply, where it is not the family's usual one; sets threshold and spread", None,
        least=0.5, most=18,
    )  # fmt: skip

    @classmethod
    def pins_for(cls, given: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the pins; a list of fewer nets leaves out the last inputs, not the ground."""
        listed = given.get("pins")
        missing = len(cls.pin_names) - len(listed) if isinstance(listed, (list, tuple)) else 0
        left_out = sorted(cls.optional_pins)[-missing:] if missing > 0 else ()
        return tuple(pin for pin in cls.pin_names if pin not in left_out)

    @field_validator("family", mode="before")
    @classmethod
    def _lower(cls, raw: Any) -> Any:
        return raw.lower() if isinstance(raw, str) else raw

    @property
    def logic_family(self) -> Family:
        """The family with its levels."""
        return FAMILIES[self.family]

    @property
    def inputs(self) -> tuple[str, ...]:
        """The input pins that are connected."""
        return tuple(pin for pin in INPUTS if pin in self.pins)

    def thresholds(self) -> tuple[float, float, float]:
        """Return the falling and rising threshold (V) at the nominal supply, and their standard deviation (V).

        A Schmitt input holds half of the window between VIL and VIH as its hysteresis (our judgement; common
        Schmitt gates hold 0.2 of their supply).
        """
        low, high = self.logic_family.window(self.nominal_supply)
        middle, half = (low + high) / 2, (high - low) / 4 if self.schmitt else 0.0
        return middle - half, middle + half, (high - low) / 6

    @property
    def nominal_supply(self) -> float:
        """Supply (V) at which the thresholds are taken."""
        return self.supply_volts or self.logic_family.usual_supply

    def truth(self, sides: Mapping[str, bool]) -> bool:
        """Return whether the output is high for these input levels."""
        return self.operation.combine(sides[pin] for pin in self.inputs) != self.inverting

    def emit(self, net: Owned) -> None:
        """Add one row an input, the supply row, the output stage, and the clamps that the family has."""
        family = self.logic_family
        rows = [self.supply_row(net, family.minimum_supply), *(self._input_row(net, pin) for pin in self.inputs)]
        outputs: dict[str, Callable[[Mapping[str, bool]], bool]] = {
            "Y high": lambda sides: sides["supply"] and self.truth(sides),
            "Y low": lambda sides: sides["supply"] and not self.truth(sides),
        }
        if self.output == "open-drain":
            del outputs["Y high"]
        net.rule(tuple(rows), outputs)
        net.knob(
            "threshold", 0.0, self.thresholds()[2], "VIL to VIH of the family as ±3 standard deviations",
            *(Turned(pin, Effect.ROW) for pin in self.inputs),
        )  # fmt: skip
        high, low = self._gates()
        self.emit_output(net, "Y", family.driver, high=high, low=low, clamped=self._output_clamped)
        for pin in self.inputs:
            clamp(net, f"{pin} clamp to ground", "GND", pin)
            if family.clamp_to_supply:
                clamp(net, f"{pin} clamp to supply", pin, "VCC")
            if family.pull_up:
                drop = self.nominal_supply - family.open_input
                siemens = family.pull_up / (family.open_input - 0.4)
                net.hinge(f"{pin} input current", {"VCC": 1, pin: -1}, {"VCC": 1, pin: -1}, siemens, drop)
        self.emit_draw(net)

    def _input_row(self, net: Owned, pin: str) -> Row:
        falling, rising, _ = self.thresholds()
        middle = (falling + rising) / 2
        floating = not self.logic_family.pull_up
        if not self.logic_family.ratiometric:
            return net.row(pin, {pin: 1, "GND": -1}, rising, falling, high_impedance=floating)
        share = middle / self.nominal_supply
        sense = {pin: 1, "VCC": -share, "GND": share - 1}
        return net.row(pin, sense, rising - middle, falling - middle, high_impedance=floating)

    def _gates(self) -> tuple[str | None, str]:
        return (f"{self.name}:Y high" if self.output == "push-pull" else None), f"{self.name}:Y low"

    @property
    def _output_clamped(self) -> bool:
        return self.logic_family.clamp_to_supply and self.output == "push-pull"

    def modes(self) -> tuple[Mode, ...]:
        """Output open, stuck or weak, inputs that it no longer follows, dead."""
        high, low = self._gates()
        return whole(
            *self.output_modes("Y", high=high, low=low, source=LOGIC_FAILURES),
            *self.input_modes(self.inputs, 0.36, LOGIC_FAILURES),
            self.dead(0.12, LOGIC_FAILURES),
        )

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """Behavioural sources for the output, diodes for the clamps; a Schmitt input switches at its middle."""
        family, ground, supply = self.logic_family, node["GND"], node["VCC"]
        falling, rising, _ = self.thresholds()
        middle = (falling + rising) / 2
        share = middle / self.nominal_supply
        levels = []
        lines = [clamp_model(f"m{tag}i", node)]
        for pin in self.inputs:
            volts = f"V({node[pin]},{ground})"
            if family.ratiometric:
                volts, at = f"{volts}-{share!r}*V({supply},{ground})", 0.0
            else:
                at = middle
            levels.append(node.side(pin, step(volts, at + node.knob("threshold", 0.0))))
            lines.append(f"D{tag}{pin}g {ground} {node[pin]} m{tag}i")
            if family.clamp_to_supply:
                lines.append(f"D{tag}{pin}s {node[pin]} {supply} m{tag}i")
            if family.pull_up:
                siemens = family.pull_up / (family.open_input - 0.4)
                drop = self.nominal_supply - family.open_input
                lines.append(f"B{tag}{pin}p {supply} {node[pin]} I={siemens!r}*max(0,V({supply},{node[pin]})-{drop!r})")
        combined = reduce(self.operation.spice, levels)
        true, false = (f"(1-{combined})", combined) if self.inverting else (combined, f"(1-{combined})")
        powered = self.supply_card(node, family.minimum_supply)
        high = f"{powered}*{true}" if self.output == "push-pull" else None
        output = self.output_cards(
            tag, node, "Y", family.driver, high=high, low=f"{powered}*{false}", clamped=self._output_clamped
        )
        return (*lines, *output, *self.draw_cards(tag, node))


SINGLE = {"pin_names": ("A", "Y", "VCC", "GND"), "optional_pins": frozenset[str]()}
"""Pins of a gate with one input."""

GATES = (
    family_of(LogicGate, "and", "High when all inputs are high.", title="AND gate", symbol="And", operation=ALL),
    family_of(
        LogicGate, "nand", "Low when all inputs are high.", title="NAND gate", symbol="Nand", operation=ALL,
        inverting=True,
    ),
    family_of(LogicGate, "or", "High when an input is high.", title="OR gate", symbol="Or", operation=ANY),
    family_of(
        LogicGate, "nor", "Low when an input is high.", title="NOR gate", symbol="Nor", operation=ANY, inverting=True
    ),
    family_of(
        LogicGate, "xor", "High when an odd number of inputs is high.", title="exclusive-OR gate", symbol="Xor",
        operation=ODD,
    ),
    family_of(
        LogicGate, "xnor", "Low when an odd number of inputs is high.", title="exclusive-NOR gate", symbol="Xnor",
        operation=ODD, inverting=True,
    ),
    family_of(
        LogicGate, "not", "The opposite of its input.", title="inverter", symbol="Not", operation=ALL, inverting=True,
        **SINGLE,
    ),
    family_of(
        LogicGate, "buffer", "The level of its input.", title="buffer", symbol="Buf", operation=ALL, **SINGLE
    ),
)  # fmt: skip
"""The kinds of gates: what they do with their inputs."""
