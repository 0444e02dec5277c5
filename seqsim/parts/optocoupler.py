"""Optocouplers: a light-emitting diode whose light drives the base of a transistor on the other side.

The photocurrent flows from the collector into the base, as it does in the device. Drawn from anywhere else it would
tie the two sides together, and an isolated side would float to whatever the arithmetic says.
"""

from __future__ import annotations

import math
from typing import ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.bipolar import junction
from seqsim.parts.failing import LEAK, between, exchanged, gone, turned
from seqsim.parts.laws import (
    THERMAL_VOLTS,
    junction_anchors,
    junction_chords,
    junction_roles,
    overdriven,
    saturation_for,
)
from seqsim.parts.part import JUDGED, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

LED_AMPS = 0.02
LED_EMISSION = 1.5
LED_OHMS = 2.0
LED_ANCHORS = overdriven((5e-9, 5e-7, 3e-5, 1.5e-3, LED_AMPS))
"""Currents (A) between which the chords of the diode run, from leakage through an open switch to a short."""
GAIN, REVERSE_GAIN, SATURATION_AMPS, RATED_AMPS = 300.0, 1.0, 1e-13, 0.05
"""The phototransistor: only its transfer shows at the pins, so its gain is our choice."""

LED = junction_roles("led junction")
TRANSISTOR = tuple(role for way in ("emitter", "collector") for role in junction_roles(f"base-{way} junction"))


class Optocoupler(Part):
    """A light-emitting diode and a phototransistor."""

    title: ClassVar = "optocoupler"
    pin_names: ClassVar = ("A", "K", "C", "E")
    rate: ClassVar = Rate(5.0, Source("a diode and a transistor that ages: seqsim's judgement", Standing.JUDGEMENT))
    symbol: ClassVar = "Optocoupler"

    kind: Literal["optocoupler"] = "optocoupler"
    transfer: float = value(
        Unit.NUMBER, "collector current as a share of the diode's", 1.0, spread=0.4, least=0.01, most=50,
        source=Source("PC817 data sheet: 0.5 to 6, classes of 1 to 2", Standing.MEMORY),
    )  # fmt: skip
    forward_volts: float = value(
        Unit.VOLT, "forward voltage of the diode at 20 mA", 1.2, spread=0.04, least=0.8, most=3,
        source=Source("PC817 data sheet: typical 1.2 V, at most 1.4 V at 20 mA", Standing.MEMORY),
    )  # fmt: skip

    @property
    def led(self) -> tuple[float, float, float]:
        """Saturation current (A), emission coefficient and series resistance (Ω) of the diode."""
        return saturation_for(self.forward_volts, LED_AMPS, LED_EMISSION, LED_OHMS), LED_EMISSION, LED_OHMS

    @property
    def light(self) -> float:
        """Base current for each ampere of the diode."""
        return self.transfer / (GAIN + 1)

    def emit(self, net: Owned) -> None:
        """Add the diode, whose current also flows from collector to base, and the transistor."""
        base = net.inner("base")
        across = {"A": 1.0, "K": -1.0}
        for role, chord in zip(LED, junction_chords(*self.led, LED_ANCHORS), strict=True):
            inject = across | {base: -self.light, "C": self.light}
            net.hinge(role, across, inject, chord.conductance, chord.threshold)
        transport = junction_chords(SATURATION_AMPS, anchors=overdriven(junction_anchors(RATED_AMPS)))
        junction(net, "base-emitter junction", transport, (base, "C", "E"), GAIN)
        junction(net, "base-collector junction", transport, (base, "E", "C"), REVERSE_GAIN)
        net.knob(
            "led junction", 0.0, self.spread_of("forward_volts") * self.forward_volts, "PC817 data sheet",
            *(Turned(role, Effect.SHIFT) for role in LED),
        )  # fmt: skip
        more = net.vector({base: -self.light, "C": self.light})
        net.knob(
            "transfer", 1.0, self.spread_of("transfer"), "classes of the PC817 data sheet",
            *(Turned(role, Effect.GAIN, 1.0, more) for role in LED),
        )  # fmt: skip

    def modes(self) -> tuple[Mode, ...]:
        """An aged or broken diode, a shorted, leaking or dead transistor."""
        swap = f"replace {self.name} and measure again: with power off only its diode can be checked"
        check = f"diode check {self.pin('A')} to {self.pin('K')} with power off: it does not conduct"
        return (
            turned(
                self, "weak", 0.30, JUDGED, swap, "transfer", Severity("transfer ÷", Unit.NUMBER, 2.0, 100.0), down=True
            ),
            gone(self, "A-K open", 0.25, JUDGED, check, LED),
            between(self, "A-K short", 0.08, JUDGED, ("A", "K")),
            between(self, "C-E short", 0.20, JUDGED, ("C", "E")),
            between(self, "leaky", 0.05, JUDGED, ("C", "E"), LEAK),
            gone(
                self, "C-E open", 0.12, JUDGED, swap,
                TRANSISTOR,
            ),
        )  # fmt: skip

    def misfits(self) -> tuple[Mode, ...]:
        """Return the diode reversed, or the transistor."""
        return (exchanged(self, "A", "K"), exchanged(self, "C", "E"))

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """A D card with a meter in series, an F card for the light, a Q card, and the models."""
        amps, emission, ohms = self.led
        amps *= math.exp(-node.knob("led junction", 0.0) / (emission * THERMAL_VOLTS))
        light = self.light * node.knob("transfer")
        middle, base = f"k{tag}", f"b{tag}"
        lines = []
        if node.works(*LED):
            lines += [
                f"D{tag} {node['A']} {middle} md{tag}",
                f"V{tag}l {middle} {node['K']} 0.0",
                f"F{tag} {node['C']} {base} V{tag}l {light!r}",
                node.model(f"md{tag}", "D", IS=amps, N=emission, RS=ohms),
            ]
        if node.works(*TRANSISTOR):
            lines += [
                f"Q{tag} {node['C']} {base} {node['E']} mq{tag}",
                node.model(f"mq{tag}", "NPN", IS=SATURATION_AMPS, BF=GAIN, BR=REVERSE_GAIN),
            ]
        return tuple(lines)
