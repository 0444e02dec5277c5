"""Bipolar transistors: the transport form of Ebers and Moll, its two junctions as chords.

Both junctions carry the same transport law, each divided by its own gain at the base. That keeps the device
passive whatever its knobs say: with the transport law f, the power is f(vBE)/β·vBE + f(vBC)/βR·vBC +
(f(vBE) − f(vBC))·vCE, and no term is ever negative.

Source of the law: Sedra and Smith, *Microelectronic Circuits*, Ebers-Moll model (from memory).
"""

from __future__ import annotations

import math
from typing import ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.failing import LEAK, between, exchanged, gone, turned
from seqsim.parts.laws import THERMAL_VOLTS, Chord, junction_chords, overdriven
from seqsim.parts.part import JUDGED, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

FAILURES = Source(
    "MIL-HDBK-338B, failure-mode distributions, bipolar transistor (short 0.73, open 0.27); the split over pins is "
    "our judgement",
    Standing.MEMORY,
)
SMALL = Source("2N3904, BC847B and 2N3906 data sheets", Standing.SEEN)
POWER = Source("4 A transistors in TO-220, typical curves", Standing.MEMORY)
JUNCTION_SPREAD = 0.02
"""Standard deviation (V) of a junction: a sixth of the window 0.58 to 0.70 V at 2 mA of the BC847 data sheet."""

WHOLE_GAIN = 0.4
"""Share of the rated current up to which the gain is whole."""
FALLEN_GAIN = 0.23
"""Share of the gain that is left for current beyond that.

The least gain of a 2N3904, rated for 200 mA, falls from 100 at 10 mA to 60 at 50 mA and 30 at 100 mA (MCC data sheet):
what comes on top of 50 mA has 0.2 of it. Makers' models, which are typical, fall later.
"""
ANCHORS = overdriven((5e-7, 1.5e-5, 1e-3, 0.02, WHOLE_GAIN))
"""Collector currents between which the chords run, as shares of the rated one: from what a base behind a megohm lets
through to a base shorted to a rail. The last two are the steps of the gain."""


def junction(
    net: Owned,
    role: str,
    transport: tuple[Chord, ...],
    points: tuple[str, str, str],
    beta: float,
    sign: int = 1,
    fallen: float = 1.0,
) -> list[Turned]:
    """Add the junction from the base to the last of ``points``, and return how a gain turns it.

    ``points`` are base, far end and near end. More gain is less base current for the same transport: the
    conductance falls and the weight rises. Beyond the last vertex the share ``fallen`` of the gain is left.
    """
    whole = sum(chord.conductance for chord in transport[:-1])
    last = transport[-1].conductance
    fallen_beta = beta * last * fallen / (last + (1 - fallen) * whole)
    base, far, near = points
    found = []
    for k, chord in enumerate(transport, start=1):
        name, gain = f"{role} {k}", beta if k < len(transport) else fallen_beta
        inject = {base: sign, far: sign * gain, near: -sign * (1 + gain)}
        net.hinge(name, {base: sign, near: -sign}, inject, chord.conductance / gain, chord.threshold)
        found.append(Turned(name, Effect.SCALE, -1.0))
        found.append(Turned(name, Effect.GAIN, 1.0, net.vector({far: sign * gain, near: -sign * gain})))
    return found


class Bipolar(Part):
    """What NPN and PNP transistors share; ``sign`` is +1 for NPN and -1 for PNP."""

    pin_names: ClassVar = ("B", "C", "E")
    rate: ClassVar = Rate(
        3.0,
        Source("between MIL-HDBK-217F parts count (0.1 to 4) and SN 29500 (about 20)", Standing.MEMORY),
    )
    sign: ClassVar[int]

    gain: float = value(
        Unit.NUMBER, "current gain in the forward direction", spread=0.35, least=1, most=1e5,
        source=Source("2N3904 data sheet, 100 to 300 at 10 mA", Standing.SEEN),
    )  # fmt: skip
    reverse_gain: float = value(
        Unit.NUMBER, "current gain with C and E exchanged; it decides the saturation voltage", spread=0.5,
        least=0.01, most=1e3,
        source=Source("VCE(sat) of 90 mV at 10 mA and 0.5 mA, BC847B data sheet", Standing.CALCULATED),
    )  # fmt: skip
    saturation_amps: float = value(
        Unit.AMPERE, "transport saturation current", least=1e-20, most=1e-6,
        source=Source("VBE of 0.66 V at 2 mA, BC847B data sheet", Standing.CALCULATED),
    )  # fmt: skip
    base_series_ohms: float = value(
        Unit.OHM, "resistance of the base inside the part", 10.0, most=1e4, source=JUDGED
    )  # fmt: skip
    amps: float = value(
        Unit.AMPERE, "rated collector current; the gain falls from 0.4 of it on", 0.2, least=1e-4, most=100,
        source=Source("2N3904 data sheet", Standing.MEMORY),
    )  # fmt: skip

    def emit(self, net: Owned) -> None:
        """Add the base resistance, the chords of each junction, and the fall of the gain."""
        base = net.inner("base")
        net.conductance("base resistance", "B", base, 1 / max(self.base_series_ohms, 0.1))
        if self.spread_of("base_series_ohms") > 0:
            net.knob(
                "base ohms", 1.0, self.spread_of("base_series_ohms"), "the circuit file",
                Turned("base resistance", Effect.SCALE, -1.0),
            )  # fmt: skip
        self.junctions(net, base)

    def junctions(self, net: Owned, base: str) -> None:
        """Add both junctions between the inner point ``base`` and the pins C and E, and their knobs."""
        s = self.sign
        transport = self.transport()
        forward = junction(net, "base-emitter junction", transport, (base, "C", "E"), self.gain, s, FALLEN_GAIN)
        backward = junction(net, "base-collector junction", transport, (base, "E", "C"), self.reverse_gain, s)
        everything = [Turned(role, Effect.SHIFT) for role in dict.fromkeys(t.role for t in (*forward, *backward))]
        net.knob("junction", 0.0, self.junction_spread(), "VBE window of the BC847 data sheet", *everything)
        net.knob("gain", 1.0, self.spread_of("gain"), "hFE classes of the 2N3904 data sheet", *forward)
        net.knob("reverse gain", 1.0, self.spread_of("reverse_gain"), JUDGED.text, *backward)

    def transport(self) -> tuple[Chord, ...]:
        """Return the chords of the current that both junctions send between collector and emitter.

        The last one, whose gain has fallen, holds for what a short drives through the base.
        """
        return junction_chords(self.saturation_amps, anchors=[share * self.amps for share in ANCHORS])

    def junction_spread(self) -> float:
        """Standard deviation of the junction voltage: the family's, or what the file says of the saturation current."""
        told = "saturation_amps" in self.spread or "saturation_amps" in self.unknown
        return THERMAL_VOLTS * self.spread_of("saturation_amps") if told else JUNCTION_SPREAD

    def modes(self) -> tuple[Mode, ...]:
        """Shorts between each pair of terminals, leakage, open junctions, lost gain."""
        b, c, e = self.pin("B"), self.pin("C"), self.pin("E")
        return (
            between(self, "C-E short", 0.36, FAILURES, ("C", "E")),
            between(self, "B-E short", 0.17, FAILURES, ("B", "E")),
            between(self, "B-C short", 0.16, FAILURES, ("B", "C")),
            between(self, "leaky", 0.04, FAILURES, ("C", "E"), LEAK),
            gone(
                self, "dead", 0.22, FAILURES,
                f"diode check {b} to {e} and {b} to {c} with power off: no junction conducts",
            ),
            turned(
                self, "weak", 0.05, JUDGED,
                f"replace {self.name} and measure again: the junction check of a meter cannot show a low gain",
                "gain", Severity("gain ÷", Unit.NUMBER, 3.0, 200.0), down=True,
            ),
        )  # fmt: skip

    def misfits(self) -> tuple[Mode, ...]:
        """Return a transistor of another pin order."""
        return (exchanged(self, "C", "E"), exchanged(self, "B", "E"), exchanged(self, "B", "C"))

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One Q card and its model."""
        return (
            f"Q{tag} {node['C']} {node['B']} {node['E']} m{tag}",
            self.card_model(f"m{tag}", node, self.base_series_ohms * node.knob("base ohms")),
        )

    def card_model(self, name: str, node: Wiring, base_series_ohms: float) -> str:
        """SPICE model; its knee current halves the gain at the rated current."""
        return node.model(
            name,
            "NPN" if self.sign > 0 else "PNP",
            IS=self.saturation_amps * math.exp(-node.knob("junction", 0.0) / THERMAL_VOLTS),
            BF=self.gain * node.knob("gain"),
            BR=self.reverse_gain * node.knob("reverse gain"),
            RB=base_series_ohms,
            IKF=self.amps,
        )


class Npn(Bipolar):
    """An NPN transistor."""

    title: ClassVar = "NPN transistor"
    symbol: ClassVar = "BjtNpn"
    sign: ClassVar = 1
    default_model: ClassVar = "npn-small"
    models: ClassVar = {
        "npn-small": {"gain": 200.0, "reverse_gain": 1.0, "saturation_amps": 1e-14, "amps": 0.2},
        "npn-power": {
            "gain": 60.0,
            "reverse_gain": 1.0,
            "saturation_amps": 1e-12,
            "base_series_ohms": 1.0,
            "amps": 4.0,
        },
    }
    model_sources: ClassVar = {"npn-small": SMALL, "npn-power": POWER}
    kind: Literal["npn"] = "npn"


class Pnp(Bipolar):
    """A PNP transistor."""

    title: ClassVar = "PNP transistor"
    symbol: ClassVar = "BjtPnp"
    sign: ClassVar = -1
    default_model: ClassVar = "pnp-small"
    models: ClassVar = {
        "pnp-small": {"gain": 180.0, "reverse_gain": 1.0, "saturation_amps": 1e-14, "amps": 0.2},
        "pnp-power": {
            "gain": 60.0,
            "reverse_gain": 1.0,
            "saturation_amps": 1e-12,
            "base_series_ohms": 1.0,
            "amps": 4.0,
        },
    }
    model_sources: ClassVar = {"pnp-small": SMALL, "pnp-power": POWER}
    kind: Literal["pnp"] = "pnp"
