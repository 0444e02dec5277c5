"""What integrated circuits share: supply threshold, output stage, clamps, quiescent current, modes of a pin."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from pydantic import field_validator

from seqsim.errors import QuantityError
from seqsim.network import Disable, Effect, Owned, Patch, Row, RowClass, SetGate, SetSide, Turn, Turned
from seqsim.parts.failing import turned_round
from seqsim.parts.laws import JUNCTION_ANCHORS, junction_chords, overdriven
from seqsim.parts.part import JUDGED, Mode, Part, PartError, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, parse_quantity

CLAMP_SATURATION_AMPS = 1e-14
CLAMP_SERIES_OHMS = 25.0
"""A clamp of an input: about 0.68 V at 1 mA (common practice: a chip's pin reads 0.4 to 0.7 V in diode mode)."""
CLAMP_ANCHORS = (5e-6, 2e-4, 6e-3, 0.2)
BODY_SATURATION_AMPS = 1e-11
BODY_SERIES_OHMS = 0.05
BODY_ANCHORS = overdriven(JUNCTION_ANCHORS)
"""A body diode of a power transistor: about 0.48 V at 1 mA (common practice: 0.4 to 0.5 V in diode mode)."""
DRAW_COMPLIANCE = 1.0
"""Supply voltage (V) above which a chip takes its whole quiescent current: our judgement."""
OUTPUT_SPREAD = 0.3
LOGIC_FAILURES = Source("MIL-HDBK-338B, failure-mode distributions, digital MOS microcircuit", Standing.MEMORY)


@dataclass(frozen=True, slots=True)
class Draw:
    """What a chip takes from its supply pin: a resistance (Ω) or a constant current (A)."""

    ohms: float | None = None
    amps: float | None = None

    def __str__(self) -> str:
        return f"{self.ohms:g} Ω" if self.amps is None else f"{self.amps:g} A"


@dataclass(frozen=True, slots=True)
class Driver:
    """An output stage: a resistance to each supply with a limit; ``drop`` volts are lost at the high side."""

    high_ohms: float
    low_ohms: float
    amps: float
    drop: float = 0.0


class Chip(Part):
    """An integrated circuit: it works above a minimum supply between its supply and ground pins."""

    supply_pin: ClassVar[str] = "VCC"
    ground_pin: ClassVar[str] = "GND"

    quiescent: Draw | None = value(
        Unit.OHM, "what it takes from its supply pin by itself: ohms, or amperes if written with A", None
    )

    @field_validator("quiescent", mode="before")
    @classmethod
    def _draw(cls, raw: Any) -> Any:
        if not isinstance(raw, str):
            return raw
        try:
            amps = parse_quantity(raw, Unit.AMPERE) if raw.rstrip().endswith("A") else None
            draw = Draw(amps=amps) if amps is not None else Draw(ohms=parse_quantity(raw, Unit.OHM))
        except QuantityError as error:
            message = f"quiescent is '{raw}', but it must be a resistance or a current; write it like 90k or 1mA"
            raise PartError("quiescent", message) from error
        if (draw.ohms or draw.amps or 0) <= 0:
            raise PartError("quiescent", f"quiescent is {raw}, but it must be above zero")
        return draw

    @property
    def power_pin(self) -> str:
        """The pin that feeds the control circuit."""
        return self.supply_pin

    def emit_draw(self, net: Owned) -> None:
        """Add the quiescent resistance or current between the supply pin and ground."""
        if self.quiescent is None:
            return
        across = {self.supply_pin: 1.0, self.ground_pin: -1.0}
        if self.quiescent.ohms is not None:
            net.conductance("quiescent current", self.supply_pin, self.ground_pin, 1 / self.quiescent.ohms)
        if self.quiescent.amps is not None:
            limited_current(net, "quiescent current", across, across, self.quiescent.amps, DRAW_COMPLIANCE)

    def supply_row(self, net: Owned, volts: float, pin: str | None = None, name: str = "supply") -> Row:
        """Return the row that tells whether the chip has its minimum supply (V); it lets go 5 % lower."""
        across = {pin or self.supply_pin: 1.0, self.ground_pin: -1.0}
        return net.row(name, across, volts, 0.95 * volts, RowClass.UNDERVOLTAGE)

    def emit_output(
        self, net: Owned, pin: str, driver: Driver, *, high: str | None, low: str | None, clamped: bool = False
    ) -> None:
        """Add an output stage; ``high`` and ``low`` are gates, None for a side that does not exist.

        ``clamped`` adds the diode to the supply that a complementary stage has.
        """
        supply, ground = self.supply_pin, self.ground_pin
        turned: list[Turned] = []
        for side, gate, upper, lower, ohms, drop in (
            ("high", high, supply, pin, driver.high_ohms, driver.drop),
            ("low", low, pin, ground, driver.low_ohms, 0.0),
        ):
            if gate is None:
                continue
            role = f"output {side} side"
            across = {upper: 1.0, lower: -1.0}
            net.hinge(role, across, across, 1 / ohms, drop, gate=gate, clamped=drop > 0)
            back = {upper: -1.0, lower: 1.0}
            net.hinge(f"{role} limit", across, back, 1 / ohms, drop + driver.amps * ohms, gate=gate, after=role)
            turned += [Turned(role, Effect.SCALE, -1.0), Turned(f"{role} limit", Effect.SCALE, -1.0)]
        net.knob("output", 1.0, OUTPUT_SPREAD, "output resistance: seqsim's judgement", *turned)
        clamp(net, "output clamp to ground", ground, pin)
        if clamped:
            clamp(net, "output clamp to supply", pin, supply)

    def output_roles(self) -> tuple[str, ...]:
        """Return the roles of an output stage that may exist."""
        sides = [f"output {side} side" for side in ("high", "low")]
        return (*sides, *(f"{side} limit" for side in sides))

    def output_modes(self, pin: str, *, high: str | None, low: str | None, source: Source) -> tuple[Mode, ...]:
        """Return the modes of an output, with shares of a digital MOS circuit: open, stuck low, stuck high, weak."""
        name, terminal = self.name, self.pin(pin)
        modes = [self.mode(f"{pin} open", 0.36, source, (Disable(name, self.output_roles()),), f"what {terminal} does")]
        for word, share, on, off in (("low", 0.09, low, high), ("high", 0.08, high, low)):
            if on is None:
                continue
            patches: tuple[Patch, ...] = (
                (SetGate(on, True),) if off is None else (SetGate(on, True), SetGate(off, False))
            )
            modes.append(self.mode(f"{pin} stuck {word}", share, source, patches, f"what {terminal} does"))
        modes.append(
            Mode(
                f"{pin} weak", 0.02, JUDGED, lambda factor: (Turn(name, "output", factor),),
                f"load {terminal} and compare it with a good output", f"replace {name}",
                Severity("ohms x", Unit.NUMBER, 3.0, 1e3),
            )
        )  # fmt: skip
        return tuple(modes)

    def input_modes(self, rows: Sequence[str], share: float, source: Source) -> tuple[Mode, ...]:
        """Return the modes of inputs that the chip itself no longer follows; ``share`` is theirs together."""
        each = share / (2 * len(rows))
        return tuple(
            self.mode(
                f"{row} stuck {word}", each, source, self.held(row, word),
                f"whether the output follows {self.pin(row)}",
            )
            for row in rows
            for word in ("low", "high")
        )  # fmt: skip

    def held(self, row: str, word: str) -> tuple[Patch, ...]:
        """Return the patches that hold a row of the rule `low` or `high`."""
        return (SetSide(self.name, row, word == "high"),)

    def mode(self, name: str, share: float, source: Source, patches: tuple[Patch, ...], watch: str) -> Mode:
        """Return a mode without severity that a swap of the chip mends; ``watch`` says what decides it."""
        confirm = f"check the joints of {self.name} with power off; then only a swap tells: watch {watch}"
        return Mode(name, share, source, lambda _: patches, confirm, f"replace {self.name}")

    def shifted(
        self, name: str, share: float, source: Source, confirm: str, knob: str, scale: float, severity: Severity
    ) -> Mode:
        """Return the mode in which a knob of the chip stands away from zero by ``scale`` times the severity."""
        return Mode(
            name, share, source, lambda at: (Turn(self.name, knob, scale * at),), confirm, f"replace {self.name}",
            severity,
        )  # fmt: skip

    def dead(self, share: float, source: Source) -> Mode:
        """Return the mode in which the chip behaves as if it had no supply."""
        return self.mode("dead", share, source, (SetSide(self.name, "supply", False),), "all of its outputs")

    def misfits(self) -> tuple[Mode, ...]:
        """Return the chip turned round, where `pin_order` tells which pins then change places.

        A package with an odd number of pins fits one way only; of one that several parts share, the file does not tell
        all pins.
        """
        order = self.pin_order
        if self.package is not None or len(order) % 2 or set(order) != set(self.pins):
            return ()
        half = len(order) // 2
        return (turned_round(self, [*zip(order[:half], order[half:], strict=True)]),) if half else ()

    def supply_card(self, node: Wiring, volts: float, pin: str | None = None) -> str:
        """SPICE expression (0 to 1) that tells whether the chip has its minimum supply (V)."""
        return node.side("supply", step(f"V({node[pin or self.supply_pin]},{node[self.ground_pin]})", volts))

    def draw_cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """SPICE lines of the quiescent current."""
        if self.quiescent is None:
            return ()
        supply, ground = node[self.supply_pin], node[self.ground_pin]
        if self.quiescent.ohms is not None:
            return (f"R{tag}q {supply} {ground} {self.quiescent.ohms!r}",)
        amps = self.quiescent.amps or 0.0
        volts = f"V({supply},{ground})/{DRAW_COMPLIANCE!r}"
        return (f"B{tag}q {supply} {ground} I={amps!r}*max(0,min(1,{volts}))",)

    def output_cards(
        self, tag: str, node: Wiring, pin: str, driver: Driver,
        *, high: str | None, low: str | None, clamped: bool = False,
    ) -> tuple[str, ...]:  # fmt: skip
        """SPICE lines of an output stage; ``high`` and ``low`` are expressions between 0 and 1."""
        supply, ground, out = node.get(self.supply_pin, "0"), node[self.ground_pin], node[pin]
        lines = [f"D{tag}{pin}g {ground} {out} m{tag}{pin}", clamp_model(f"m{tag}{pin}", node)]
        factor, driven = node.knob("output"), node.works(*self.output_roles())
        if high is not None and driven:
            volts = f"(V({supply},{out})-{driver.drop!r})/{driver.high_ohms * factor!r}"
            volts = f"max({volts},0)" if driver.drop else volts
            gate = node.gate(f"{pin} high", high)
            lines.append(f"B{tag}{pin}h {supply} {out} I=({gate})*min({volts},{driver.amps / factor!r})")
        if low is not None and driven:
            volts = f"V({out},{ground})/{driver.low_ohms * factor!r}"
            gate = node.gate(f"{pin} low", low)
            lines.append(f"B{tag}{pin}l {out} {ground} I=({gate})*min({volts},{driver.amps / factor!r})")
        if clamped:
            lines.append(f"D{tag}{pin}s {out} {supply} m{tag}{pin}")
        return tuple(lines)


def without_ground(parts: Iterable[Part], moved: Collection[str]) -> tuple[SetSide, ...]:
    """Return what a lost ground does besides moving pins: a chip whose ground pin is among ``moved`` is off.

    Its outputs are open and its clamps stay. A real chip may still work through a clamp of an input that is low;
    that is left out.
    """
    return tuple(
        SetSide(part.name, "supply", above=False)
        for part in parts
        if isinstance(part, Chip) and part.supply_pin in part.pins and part.pin(part.ground_pin) in moved
    )


def clamp(net: Owned, role: str, anode: str, cathode: str) -> None:
    """Add a clamp diode of a pin, as chords."""
    across = {anode: 1.0, cathode: -1.0}
    for k, chord in enumerate(junction_chords(CLAMP_SATURATION_AMPS, 1.0, CLAMP_SERIES_OHMS, CLAMP_ANCHORS)):
        net.hinge(f"{role} {k + 1}", across, across, chord.conductance, chord.threshold)


def clamp_model(name: str, node: Wiring) -> str:
    """SPICE model of a clamp diode."""
    return node.model(name, "D", IS=CLAMP_SATURATION_AMPS, RS=CLAMP_SERIES_OHMS)


def body_diode(net: Owned, role: str, anode: str, cathode: str) -> None:
    """Add the body diode of a power stage, as chords."""
    across = {anode: 1.0, cathode: -1.0}
    for k, chord in enumerate(junction_chords(BODY_SATURATION_AMPS, 1.0, BODY_SERIES_OHMS, BODY_ANCHORS)):
        net.hinge(f"{role} {k + 1}", across, across, chord.conductance, chord.threshold)


def body_diode_model(name: str, node: Wiring) -> str:
    """SPICE model of the body diode of a power stage."""
    return node.model(name, "D", IS=BODY_SATURATION_AMPS, RS=BODY_SERIES_OHMS)


def limited_current(
    net: Owned,
    role: str,
    sense: Mapping[str, float],
    inject: Mapping[str, float],
    amps: float,
    volts: float,
    threshold: float = 0.0,
    gate: str | None = None,
) -> None:
    """Add a constant current of ``amps`` that needs ``volts`` above ``threshold`` to reach its full value."""
    net.hinge(role, sense, inject, amps / volts, threshold, gate=gate)
    back = {pin: -weight for pin, weight in inject.items()}
    net.hinge(f"{role} limit", sense, back, amps / volts, threshold + volts, gate=gate, after=role)


def whole(*modes: Mode) -> tuple[Mode, ...]:
    """Return the modes with their shares scaled so that they add up to one."""
    total = sum(mode.share for mode in modes)
    return tuple(replace(mode, share=mode.share / total) for mode in modes)


def step(volts: str, threshold: float, steepness: float = 200.0) -> str:
    """Return a SPICE expression: 0 below the threshold (V) and 1 above it, within a few hundredths of a volt."""
    return f"(0.5+0.5*tanh({steepness!r}*({volts}-({threshold!r}))))"
