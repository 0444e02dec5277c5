"""Load switches: a resistance between IN and OUT with a limit, on while EN is high."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import ClassVar, Literal

from seqsim.network import SECONDS, Effect, Owned, Row, RowClass, SetGate, Turned
from seqsim.parts.chip import body_diode, body_diode_model, step, whole
from seqsim.parts.failing import HARD_SHORT, between, exchanged, turned
from seqsim.parts.overload import OVERLOAD, LimitedChip
from seqsim.parts.part import JUDGED, Mode, PartError, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

FAILURES = Source(
    "TPS1HA08-Q1 (SLVAEJ9A) and TPS1HC30-Q1 (SFFS505) failure-mode splits of high-side switches", Standing.SEEN
)
TYPICAL = Source("typical data sheets, from memory", Standing.MEMORY)


class LoadSwitch(LimitedChip):
    """A load switch; off, its body diode still passes from OUT to IN unless `reverse_blocking`."""

    title: ClassVar = "load switch"
    pin_names: ClassVar = ("IN", "OUT", "EN", "GND")
    supply_pin: ClassVar = "IN"
    rate: ClassVar = Rate(
        10.0, Source("217F parts count: linear circuit up to 300 transistors against a film resistor", Standing.SEEN)
    )
    symbol: ClassVar = "Ic"

    kind: Literal["load_switch"] = "load_switch"
    on_ohms: float = value(Unit.OHM, "resistance when on", 0.05, spread=0.2, source=TYPICAL, least=1e-4, most=1e3)
    amps: float | None = value(Unit.AMPERE, "current limit; none without it", None, spread=0.2, least=1e-4, most=200)
    enable_threshold: float = value(
        Unit.VOLT, "EN voltage that turns it on; it lets go 0.1 V lower", 1.0, spread=0.1, absolute=True,
        source=TYPICAL, least=0.2, most=20,
    )  # fmt: skip
    discharge: float | None = value(Unit.OHM, "what discharges the output when off; nothing without it", None, least=1)
    reverse_blocking: bool = False
    minimum_supply: float = value(Unit.VOLT, "least input at which it turns on", 1.2, source=JUDGED, least=0.5, most=60)

    def check_values(self) -> None:
        """Refuse a hiccup without a limit."""
        if self.hiccups and self.amps is None:
            raise PartError("overload", "overload is hiccup, but the switch has no current limit; write amps too")

    @property
    def gates(self) -> tuple[str, str]:
        """Gates: the switch is on, the discharge acts."""
        return f"{self.name}:on", f"{self.name}:discharge"

    def emit(self, net: Owned) -> None:
        """Add the switch with its limit, the body diode, the discharge and the rule."""
        on, discharges = self.gates
        forward, back = {"IN": 1.0, "OUT": -1.0}, {"IN": -1.0, "OUT": 1.0}
        siemens = 1 / self.on_ohms
        net.hinge("switch", forward, forward, siemens, gate=on, clamped=self.reverse_blocking)
        with_ohms = [Turned("switch", Effect.SCALE, -1.0)]
        if self.amps is not None:
            drop = self.amps * self.on_ohms
            net.hinge("limit", forward, back, siemens, drop, gate=on, after="switch")
            with_ohms += [Turned("limit", Effect.SCALE, -1.0), Turned("limit", Effect.SHIFT, drop)]
            with_amps = [Turned("limit", Effect.SHIFT, drop)]
            if self.hiccups:
                # the drop that asks for the limit stands at an inner node, where it goes away with the switch
                asked = net.inner("asked")
                net.hinge("asked", forward, {asked: -1}, siemens, gate=on, clamped=False)
                net.hinge("asked level", {asked: 1}, {asked: 1}, 1.0, clamped=False)
                with_ohms.append(Turned("asked", Effect.SCALE, -1.0))
                with_amps.append(Turned("overload", Effect.ROW, OVERLOAD * self.amps))
            net.knob("limit", 1.0, self.spread_of("amps"), TYPICAL.text, *with_amps)
        net.knob("ohms", 1.0, self.spread_of("on_ohms"), TYPICAL.text, *with_ohms)
        if not self.reverse_blocking:
            body_diode(net, "body diode", "OUT", "IN")
        if self.discharge is not None:
            net.conductance("discharge", "OUT", "GND", 1 / self.discharge, gate=discharges)
        across = {"EN": 1.0, "GND": -1.0}
        enable = net.row(
            "EN", across, self.enable_threshold, self.enable_threshold - 0.1, RowClass.ENABLE, high_impedance=True
        )
        rows: tuple[Row, ...] = (
            self.supply_row(net, self.minimum_supply), enable, *self.emit_hiccup(net, {":asked": 1.0}, self.amps or 0.0)
        )  # fmt: skip
        trips, late = self.hiccup_rule()
        outputs: dict[str, Callable[[Mapping[str, bool]], bool]] = {
            "on": lambda sides: sides["supply"] and sides["EN"] and not sides.get("tripped", False), **trips
        }  # fmt: skip
        if self.discharge is not None:
            outputs["discharge"] = lambda sides: sides["supply"] and not sides["EN"]
        net.rule(rows, outputs, delays=late)
        if late:
            net.knob(SECONDS, 1.0, 0.0, TYPICAL.text)
        net.knob("enable threshold", 0.0, self.spread_of("enable_threshold"), TYPICAL.text, Turned("EN", Effect.ROW))
        self.emit_draw(net)

    def modes(self) -> tuple[Mode, ...]:
        """No output, stuck on, high resistance, shorts to ground, enable not followed."""
        input_, out = self.pin("IN"), self.pin("OUT")
        modes = [
            self.mode("no output", 0.25, FAILURES, (SetGate(self.gates[0], False),), f"{out} while EN is high"),
            between(self, "stuck on", 0.15, FAILURES, ("IN", "OUT"), HARD_SHORT),
            turned(
                self, "high resistance", 0.45, FAILURES,
                f"measure from {input_} to {out} while the load draws current", "ohms",
                Severity("x", Unit.NUMBER, 3.0, 1e4),
            ),
            *(between(self, f"{pin}-GND short", 0.025, FAILURES, (pin, "GND")) for pin in ("IN", "OUT")),
            *(
                self.mode(
                    f"EN stuck {word}", 0.05, FAILURES, self.held("EN", word),
                    f"whether {out} follows {self.pin('EN')}",
                )
                for word in ("low", "high")
            ),
        ]  # fmt: skip
        return whole(*modes)

    def misfits(self) -> tuple[Mode, ...]:
        """Return a switch of another pin order, or turned round."""
        return (exchanged(self, "IN", "OUT"), *super().misfits())

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """A behavioural source for the switch, a diode, and the discharge."""
        input_, out, ground = node["IN"], node["OUT"], node["GND"]
        powered = self.supply_card(node, self.minimum_supply)
        threshold = self.enable_threshold - 0.05 + node.knob("enable threshold", 0.0)
        enabled = node.side("EN", step(f"V({node['EN']},{ground})", threshold))
        current = f"V({input_},{out})/{self.on_ohms * node.knob('ohms')!r}"
        if self.amps is not None:
            current = f"min({current},{self.amps * node.knob('limit')!r})"
        if self.reverse_blocking:
            current = f"max(0,{current})"
        lines = [f"B{tag}o {input_} {out} I={node.gate('on', f'{powered}*{enabled}')}*{current}"]
        if not self.reverse_blocking:
            lines += [f"D{tag}b {out} {input_} m{tag}b", body_diode_model(f"m{tag}b", node)]
        if self.discharge is not None:
            discharges = node.gate("discharge", f"{powered}*(1-{enabled})")
            lines.append(f"B{tag}d {out} {ground} I={discharges}*V({out},{ground})/{self.discharge!r}")
        return (*lines, *self.draw_cards(tag, node))
