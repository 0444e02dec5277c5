"""Regulators, linear and step-down: one drive that is the smaller of what the error asks for and the input leaves.

Two inner nodes carry amperes as volts: the drive, and the output current after the gate and the limit. With
``a = gm (Vref - vFB)`` and ``b = (vIN - Vdo - vOUT)/Rdo`` the drive is ``min(a, b)``: a fixed dropout would be wrong at
light load. The input takes the share r of the output current: 1 in a linear type, vOUT/(η vIN) in a switching one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, ClassVar, Literal

from pydantic import field_validator

from seqsim.errors import QuantityError
from seqsim.network import SECONDS, Bridge, Effect, Owned, Row, RowClass, SetGate, Turned
from seqsim.parts.chip import body_diode, body_diode_model, limited_current, step, whole
from seqsim.parts.failing import between, exchanged, turned
from seqsim.parts.overload import OVERLOAD, LimitedChip
from seqsim.parts.part import JUDGED, Mode, PartError, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, parse_quantity

FAILURES = Source("TPS7A16-Q1 (SFFS504) and TPS746-Q1 (SBVA088) failure-mode splits, between the two", Standing.SEEN)
ENABLE = Source("TPS54361-Q1 and TPS65261 data sheets, precision enable", Standing.SEEN)
WINDOW = Source(
    "TPS54623 data sheet (JAJSBM7C): released at 94 to 104 %, pulled below 92 or above 106 %", Standing.SEEN
)
TYPICAL = Source("typical data sheets, from memory", Standing.MEMORY)
WINDOW_HYSTERESIS = 0.02
"""Distance between release and pull of a power-good window, as a share of its nominal voltage (TPS54623)."""
UNDERVOLTAGE_HYSTERESIS = 0.08
"""Share of its undervoltage threshold by which a regulator lets go lower: our judgement."""
WORKING_SUPPLY = 1.2
"""Supply (V) from which power-good and discharge act at all (common practice: power-good is valid from about 1 V)."""
OUTPUT_TO_GROUND_OHMS = 200e3
"""A regulator's own feedback divider (Ω): our judgement."""


class Regulator(LimitedChip):
    """A linear or step-down regulator with a current limit; all of its voltages are relative to its GND pin."""

    title: ClassVar = "voltage regulator"
    pin_names: ClassVar = ("IN", "OUT", "GND", "EN", "PG", "FB", "VCC")
    optional_pins: ClassVar = frozenset({"EN", "PG", "FB", "VCC"})
    supply_pin: ClassVar = "IN"
    rate: ClassVar = Rate(
        12.0,
        Source("217F parts count: linear circuit of 101 to 300 transistors against a film resistor", Standing.SEEN),
    )
    symbol: ClassVar = "VoltageRegulator"
    default_model: ClassVar = "low-dropout"
    models: ClassVar = {
        "low-dropout": {"type": "linear", "amps": 0.5, "dropout": 0.3, "output_ohms": 0.02, "reference": 1.2},
        "linear-npn": {"type": "linear", "amps": 1.5, "dropout": 2.0, "output_ohms": 0.02, "reference": 1.25},
        "step-down": {"type": "switching", "amps": 4.0, "dropout": 0.2, "output_ohms": 0.01, "reference": 0.8},
    }
    model_sources: ClassVar = dict.fromkeys(("low-dropout", "linear-npn", "step-down"), TYPICAL)

    kind: Literal["regulator"] = "regulator"
    type: Literal["linear", "switching"] = "linear"
    volts: float = value(
        Unit.VOLT, "output voltage", spread=0.01, source=Source("3 % of tolerance as ±3 deviations", Standing.COMMON),
        least=0.3, most=400,
    )  # fmt: skip
    amps: float = value(Unit.AMPERE, "current limit", spread=0.15, source=TYPICAL, least=1e-4, most=200)
    dropout: float = value(
        Unit.VOLT, "least input above the output at the current limit", spread=0.1, source=TYPICAL, least=1e-3, most=20
    )
    no_load_dropout: float | None = value(
        Unit.VOLT, "the same without load; else 0 for a dropout up to 0.7 V and 80 % of a larger one", None,
        source=JUDGED, most=20,
    )  # fmt: skip
    output_ohms: float = value(Unit.OHM, "output resistance in regulation", source=TYPICAL, least=1e-3, most=10)
    reference: float = value(Unit.VOLT, "reference at the FB pin", source=TYPICAL, least=0.1, most=10)
    efficiency: float = value(Unit.SHARE, "efficiency of a switching type", 0.88, source=TYPICAL, least=0.3, most=1)
    enable_threshold: float = value(
        Unit.VOLT, "EN voltage that turns it on", 1.2, spread=0.035, absolute=True, source=ENABLE, least=0.2, most=20
    )
    enable_hysteresis: float = value(Unit.VOLT, "EN must fall lower by this", 0.1, source=ENABLE, most=5)
    enable_current: float = value(Unit.AMPERE, "current that EN gives out; an open EN is then on", 0.0, most=1e-3)
    enable_hysteresis_current: float = value(Unit.AMPERE, "further current of EN above its threshold", 0.0, most=1e-3)
    undervoltage: float | None = value(
        Unit.VOLT, "input (VCC where that pin is there) that turns it on; else its working supply", None,
        spread=0.02, least=0.5, most=100,
    )  # fmt: skip
    discharge: float | None = value(Unit.OHM, "what discharges the output when off; nothing without it", None, least=1)
    power_good: tuple[float, float] = value(
        Unit.SHARE, "window of volts in which PG is released", (0.94, 1.04), source=WINDOW
    )
    power_good_ohms: float = value(Unit.OHM, "resistance of PG when it pulls", 50.0, source=TYPICAL, least=1, most=1e4)
    start_delay: float = value(Unit.SECOND, "from enable to the start of the ramp", 200e-6, spread=0.2, source=TYPICAL)
    ramp: float = value(Unit.SECOND, "duration of the output's ramp", 1e-3, source=TYPICAL)
    restart_delay: float = value(Unit.SECOND, "pause before another start after an undervoltage", 0.0)
    power_good_delay: float = value(Unit.SECOND, "from inside the window to PG released", 50e-6, source=TYPICAL)

    @classmethod
    def base_values(cls, given: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values of the named device type, else of the one that fits `type:`."""
        usual = "step-down" if given.get("type") == "switching" else "low-dropout"
        return super().base_values({**given, "model": given.get("model") or usual})

    @field_validator("power_good", mode="before")
    @classmethod
    def _window(cls, raw: Any) -> Any:
        if not isinstance(raw, (list, tuple)) or len(raw) != 2:
            raise PartError("power_good", f"power_good is {raw}, but it must be two shares of volts, like [94%, 104%]")
        try:
            low, high = (parse_quantity(item, Unit.SHARE) if isinstance(item, str) else float(item) for item in raw)
        except QuantityError as error:
            raise PartError("power_good", f"power_good: {error.message}") from None
        if not 0 < low < 1 < high:
            raise PartError(
                "power_good", f"power_good is [{raw[0]}, {raw[1]}], but 100 % must lie between its two shares"
            )
        return low, high

    def check_values(self) -> None:
        """Refuse a feedback reference above the output, and a window or hysteresis without sense."""
        if "FB" in self.pins and self.reference > self.volts:
            message = (
                f"reference is {self.reference:g} V, above volts ({self.volts:g} V); the FB pin divides, so lower it"
            )
            raise PartError("reference", message)
        if self.enable_hysteresis >= self.enable_threshold:
            message = f"enable_hysteresis must be below enable_threshold ({self.enable_threshold:g} V)"
            raise PartError("enable_hysteresis", message)

    @property
    def power_pin(self) -> str:
        """The pin that feeds the control circuit."""
        return "VCC" if "VCC" in self.pins else "IN"

    @property
    def sensed(self) -> tuple[str, float]:
        """The pin that is regulated, and the voltage (V) that it is held at."""
        return ("FB", self.reference) if "FB" in self.pins else ("OUT", self.volts)

    @property
    def error_gain(self) -> float:
        """Amperes of drive per volt at the sensed pin; the output then has its output resistance."""
        return self.volts / (self.sensed[1] * self.output_ohms)

    @property
    def dropout_line(self) -> tuple[float, float]:
        """Dropout without load (V) and its resistance (Ω), which together give the dropout at the limit."""
        start = self.no_load_dropout
        if start is None:
            start = 0.8 * self.dropout if self.dropout > 0.7 else 0.0
        return start, max(self.dropout - start, 1e-3) / self.amps

    @property
    def roles(self) -> tuple[str, str, str]:
        """Gates: the pass element is on, the discharge acts, power-good pulls."""
        return f"{self.name}:on", f"{self.name}:discharge", f"{self.name}:PG low"

    def emit(self, net: Owned) -> None:
        """Add the drive, the output current with its limit, the input's share, diodes, discharge, power-good, rule."""
        self._emit_drive(net)
        self._emit_passing(net)
        self._emit_pins(net)
        self._emit_rule(net)
        self.emit_draw(net)

    def _emit_drive(self, net: Owned) -> None:
        drive, gain = net.inner("drive"), self.error_gain
        pin, reference = self.sensed
        start, ohms = self.dropout_line
        net.hinge("drive", {drive: 1}, {drive: 1}, 1.0, clamped=False)
        net.hinge("error", {pin: gain, "GND": -gain}, {drive: 1}, 1.0, gain * reference, clamped=False)
        sense = {"IN": -1 / ohms, "OUT": 1 / ohms, "GND": gain}
        sense[pin] = sense.get(pin, 0.0) - gain
        net.hinge("dropout", sense, {drive: 1}, 1.0, -gain * reference - start / ohms)
        net.knob(
            "dropout", 0.0, self.spread_of("dropout") * self.dropout, "typical data sheets, from memory",
            Turned("dropout", Effect.SHIFT, -1 / ohms),
        )  # fmt: skip

    def _emit_passing(self, net: Owned) -> None:
        on, drive, current = self.roles[0], ":drive", net.inner("current")
        net.hinge("output current", {current: 1}, {current: 1}, 1.0, clamped=False)
        net.hinge("on", {drive: 1}, {current: -1}, 1.0, gate=on)
        net.hinge("limit", {drive: 1}, {current: 1}, 1.0, self.amps, gate=on, after="on")
        with_amps = [Turned("limit", Effect.SHIFT, self.amps)]
        if self.hiccups:
            with_amps.append(Turned("overload", Effect.ROW, OVERLOAD * self.amps))
        net.knob("limit", 1.0, self.spread_of("amps"), "typical data sheets, from memory", *with_amps)
        if self.type == "linear":
            net.hinge("pass element", {current: 1}, {"OUT": -1, "IN": 1}, 1.0, clamped=False)
            return
        net.hinge("pass element", {current: 1}, {"OUT": -1, "GND": 1}, 1.0, clamped=False)
        net.hinge("input share", {current: 1}, {"IN": 1, "GND": -1}, 1.0, clamped=False)
        net.ratio("input share", {"OUT": 1, "GND": -1}, {"IN": 1, "GND": -1}, self.efficiency)

    def _emit_pins(self, net: Owned) -> None:
        _, discharge, pulls = self.roles
        body_diode(net, "body diode", "OUT", "IN")
        body_diode(net, "output clamp to ground", "GND", "OUT")
        if "FB" not in self.pins:
            net.conductance("feedback divider", "OUT", "GND", 1 / OUTPUT_TO_GROUND_OHMS)
        if self.discharge is not None:
            net.conductance("discharge", "OUT", "GND", 1 / self.discharge, gate=discharge)
        if "PG" in self.pins:
            net.conductance("power-good", "PG", "GND", 1 / self.power_good_ohms, gate=pulls)
        if "EN" not in self.pins:
            return
        above = {self.power_pin: 1.0, "EN": -1.0}
        enabled = f"{self.name}:EN above"
        for role, amps, gate in (
            ("enable current", self.enable_current, None),
            ("enable hysteresis current", self.enable_hysteresis_current, enabled),
        ):
            if amps > 0:
                limited_current(net, role, above, above, amps, 0.2, gate=gate)

    def _emit_rule(self, net: Owned) -> None:
        rows: list[Row] = [self.supply_row(net, self.working_supply, self.power_pin)]
        if self.undervoltage is not None:
            across = {self.power_pin: 1.0, "GND": -1.0}
            low = self.undervoltage * (1 - UNDERVOLTAGE_HYSTERESIS)
            rows.append(net.row("undervoltage", across, self.undervoltage, low, RowClass.UNDERVOLTAGE))
            spread = self.spread_of("undervoltage") * self.undervoltage
            net.knob("undervoltage", 0.0, spread, "common practice", Turned("undervoltage", Effect.ROW))
        if "EN" in self.pins:
            low = self.enable_threshold - self.enable_hysteresis
            across = {"EN": 1.0, "GND": -1.0}
            floating = self.enable_current == 0
            rows.append(net.row("EN", across, self.enable_threshold, low, RowClass.ENABLE, high_impedance=floating))
            net.knob("enable threshold", 0.0, self.spread_of("enable_threshold"), ENABLE.text, Turned("EN", Effect.ROW))
        rows += self.emit_hiccup(net, {":current": 1.0}, self.amps)
        pin, reference = self.sensed
        with_volts = [
            Turned("error", Effect.SHIFT, self.error_gain * reference),
            Turned("dropout", Effect.SHIFT, -self.error_gain * reference),
        ]
        if "PG" in self.pins:
            across = {pin: 1.0, "GND": -1.0}
            low, high = self.power_good
            rows += [
                net.row("PG low", across, low * reference, (low - WINDOW_HYSTERESIS) * reference, RowClass.POWER_GOOD),
                net.row(
                    "PG high", across, (high + WINDOW_HYSTERESIS) * reference, high * reference, RowClass.POWER_GOOD
                ),
            ]
            with_volts += [
                Turned("PG low", Effect.ROW, low * reference),
                Turned("PG high", Effect.ROW, high * reference),
            ]
        net.knob("volts", 1.0, self.spread_of("volts"), "3 % of tolerance as ±3 deviations", *with_volts)
        net.knob(SECONDS, 1.0, self.spread_of("start_delay"), "typical data sheets, from memory")
        outputs, delays = self._outputs()
        ramps = {"on": ("volts", self.ramp)} if self.ramp > 0 else {}
        lost = "supply" if self.undervoltage is None else "undervoltage"
        pauses = {"on": (lost, self.restart_delay)} if self.restart_delay > 0 else {}
        net.rule(tuple(rows), outputs, delays=delays, ramps=ramps, pauses=pauses)

    @property
    def working_supply(self) -> float:
        """Supply (V) from which anything in it works."""
        return min(WORKING_SUPPLY, 0.5 * (self.undervoltage or 2 * WORKING_SUPPLY))

    def _outputs(
        self,
    ) -> tuple[dict[str, Callable[[Mapping[str, bool]], bool]], dict[str, tuple[float, float]]]:
        def on(sides: Mapping[str, bool]) -> bool:
            awake = sides["supply"] and sides.get("undervoltage", True) and sides.get("EN", True)
            return awake and not sides.get("tripped", False)

        trips, late = self.hiccup_rule()
        outputs: dict[str, Callable[[Mapping[str, bool]], bool]] = {"on": on, **trips}
        delays = {"on": (self.start_delay, 0.0), **late}
        if self.discharge is not None:
            outputs["discharge"] = lambda sides: sides["supply"] and not on(sides)
        if "EN" in self.pins and self.enable_hysteresis_current > 0:
            outputs["EN above"] = lambda sides: sides["supply"] and sides["EN"]
        if "PG" in self.pins:
            outputs["PG low"] = lambda sides: (
                sides["supply"] and not (on(sides) and sides["PG low"] and not sides["PG high"])
            )
            delays["PG low"] = (0.0, self.power_good_delay)
        return outputs, delays

    def modes(self) -> tuple[Mode, ...]:
        """No output, input passed, out of spec, weak, shorts, enable not followed, power-good stuck."""
        name, on, pulls = self.name, self.roles[0], self.roles[2]
        input_, out = self.pin("IN"), self.pin("OUT")
        replace = f"replace {name}, after a check of its load for a short"
        modes = [
            Mode(
                "no output", 0.25, FAILURES, lambda _: (SetGate(on, False),),
                f"see that {input_} and its enable are there and {out} is no short to ground; then only a swap tells",
                replace,
            ),
            Mode(
                "passes input", 0.25, FAILURES, lambda ohms: (Bridge(input_, out, 1 / ohms, name),),
                f"measure {input_} to {out} with power off: it reads a few ohms",
                f"replace {name}, and check what stood on {out} at too high a voltage",
                Severity("ohms", Unit.OHM, 0.05, 10.0),
            ),
            turned(
                self, "out of spec", 0.30, FAILURES,
                f"measure {out} without its load" + (" and the divider at FB" if "FB" in self.pins else ""),
                "volts", Severity("x", Unit.NUMBER, 0.5, 1.6),
            ),
            turned(
                self, "weak", 0.05, JUDGED, f"measure {out} with and without its load", "limit",
                Severity("limit ÷", Unit.NUMBER, 3.0, 300.0), down=True,
            ),
            between(self, "OUT-GND short", 0.03, FAILURES, ("OUT", "GND")),
            between(self, "IN-GND short", 0.02, FAILURES, ("IN", "GND")),
        ]  # fmt: skip
        if "EN" in self.pins:
            modes += [
                self.mode(
                    f"EN stuck {word}", 0.02, JUDGED, self.held("EN", word),
                    f"whether {out} follows {self.pin('EN')}",
                )
                for word in ("low", "high")
            ]  # fmt: skip
        if "PG" in self.pins:
            watch = f"{self.pin('PG')} while {out} is right and while it is off"
            modes += [
                self.mode("PG never releases", 0.04, FAILURES, (SetGate(pulls, True),), watch),
                self.mode("PG never pulls", 0.04, FAILURES, (SetGate(pulls, False),), watch),
            ]
        return whole(*modes)

    def misfits(self) -> tuple[Mode, ...]:
        """Return a regulator of another pin order, or turned round."""
        pairs = [("IN", "OUT"), ("OUT", "FB" if "FB" in self.pins else "GND")]
        found = (exchanged(self, *pair) for pair in pairs if set(pair) <= self.pins.keys())
        return (*found, *super().misfits())

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """Behavioural sources: the output current as a voltage of its own node, then output and input.

        A type with hiccup stays in its limit: SPICE is asked for levels at rest.
        """
        input_, out, ground = node["IN"], node["OUT"], node["GND"]
        pin, reference = self.sensed
        start, ohms = self.dropout_line
        power = f"V({node[self.power_pin]},{ground})"
        asked = f"{self.error_gain!r}*({reference * node.knob('volts')!r}-V({node[pin]},{ground}))"
        left = f"(V({input_},{out})-{start + node.knob('dropout', 0.0)!r})/{ohms!r}"
        limit = self.amps * node.knob("limit")
        supplied = self.supply_card(node, self.working_supply, self.power_pin)
        on = supplied
        if self.undervoltage is not None:
            threshold = self.undervoltage * (1 - UNDERVOLTAGE_HYSTERESIS / 2) + node.knob("undervoltage", 0.0)
            on += "*" + node.side("undervoltage", step(power, threshold))
        above = ""
        if "EN" in self.pins:
            threshold = self.enable_threshold - self.enable_hysteresis / 2 + node.knob("enable threshold", 0.0)
            above = node.side("EN", step(f"V({node['EN']},{ground})", threshold))
            on += "*" + above
        on = node.gate("on", on)
        current = f"V(i{tag})"
        lines = [
            f"B{tag}i i{tag} 0 V={on}*max(0,min(min({asked},{left}),{limit!r}))",
            f"D{tag}b {out} {input_} m{tag}b",
            f"D{tag}g {ground} {out} m{tag}b",
            body_diode_model(f"m{tag}b", node),
        ]
        if self.type == "linear":
            lines.append(f"B{tag}o {input_} {out} I={current}")
        else:
            ratio = f"max(0,min(1,V({out},{ground})/({self.efficiency!r}*max(V({input_},{ground}),0.3))))"
            lines += [f"B{tag}o {ground} {out} I={current}", f"B{tag}n {input_} {ground} I={current}*{ratio}"]
        if "FB" not in self.pins:
            lines.append(f"R{tag}f {out} {ground} {OUTPUT_TO_GROUND_OHMS!r}")
        if self.discharge is not None:
            discharges = node.gate("discharge", f"{supplied}*(1-{on})")
            lines.append(f"B{tag}d {out} {ground} I={discharges}*V({out},{ground})/{self.discharge!r}")
        if "PG" in self.pins:
            lines.append(self._power_good_card(tag, node, supplied, on))
        if "EN" in self.pins:
            room = f"max(0,min(1,V({node[self.power_pin]},{node['EN']})/0.2))"
            more = node.gate("EN above", f"{supplied}*{above}")
            amps = f"({self.enable_current!r}+{self.enable_hysteresis_current!r}*{more})"
            if self.enable_current or self.enable_hysteresis_current:
                lines.append(f"B{tag}e {node[self.power_pin]} {node['EN']} I={amps}*{room}")
        return (*lines, *self.draw_cards(tag, node))

    def _power_good_card(self, tag: str, node: Wiring, supplied: str, on: str) -> str:
        pin, reference = self.sensed
        volts, half = f"V({node[pin]},{node['GND']})", WINDOW_HYSTERESIS / 2
        factor = node.knob("volts")
        # `volts` turns the reference, and with it both thresholds of the window
        low = node.side("PG low", step(volts, (self.power_good[0] * factor - half) * reference, 2000.0))
        high = node.side("PG high", step(volts, (self.power_good[1] * factor + half) * reference, 2000.0))
        pulls = node.gate("PG low", f"{supplied}*(1-{on}*{low}*(1-{high}))")
        return f"B{tag}p {node['PG']} {node['GND']} I={pulls}*V({node['PG']},{node['GND']})/{self.power_good_ohms!r}"
