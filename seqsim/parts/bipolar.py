"""Bipolar transistors: the transport form of Ebers and Moll, its two junctions as chords.

Source of the law: Sedra and Smith, *Microelectronic Circuits*, Ebers-Moll model (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Literal

from seqsim.network import Bridge, Disable, Effect, Owned, Turn, Turned
from seqsim.parts.laws import JUNCTION_ANCHORS, junction_chords
from seqsim.parts.part import JUDGED, Mode, Part, Rate, Severity, Source, Standing, value
from seqsim.quantity import Unit

FAILURES = Source("MIL-HDBK-338B, failure-mode distributions, bipolar transistor", Standing.MEMORY)


class Bipolar(Part):
    """What NPN and PNP transistors share; ``sign`` is +1 for NPN and -1 for PNP."""

    pin_names: ClassVar = ("B", "C", "E")
    rate: ClassVar = Rate(3.0, Source("flat ratios of SN 29500 (resistor 0.1 to 0.2, transistor 3 FIT)", Standing.MEMORY))
    sign: ClassVar[int]

    gain: float = value(
        Unit.NUMBER, "current gain in the forward direction", spread=0.35, least=1, most=1e5,
        source=Source("spread: hFE classes of the 2N3904 data sheet, 100 to 300 at 10 mA", Standing.SEEN),
    )  # fmt: skip
    reverse_gain: float = value(Unit.NUMBER, "current gain with C and E exchanged", spread=0.5, least=0.01, most=1e3)
    saturation_amps: float = value(Unit.AMPERE, "transport saturation current", least=1e-20, most=1e-6)
    base_series_ohms: float = value(Unit.OHM, "resistance of the base inside the part", 10.0, most=1e4)
    amps: float = value(Unit.AMPERE, "rated collector current", 0.2, least=1e-4, most=100)

    def emit(self, net: Owned) -> None:
        """Add the base resistance and three chords for each junction."""
        s = self.sign
        base = net.inner("base")
        net.conductance("base resistance", "B", base, 1 / max(self.base_series_ohms, 0.1))
        turned: list[Turned] = []
        gained: list[Turned] = []
        for role, emitter, collector, beta in (
            ("base-emitter junction", "E", "C", self.gain),
            ("base-collector junction", "C", "E", self.reverse_gain),
        ):
            anchors = [amps / beta for amps in JUNCTION_ANCHORS]
            for k, chord in enumerate(junction_chords(self.saturation_amps / beta, anchors=anchors)):
                name = f"{role} {k + 1}"
                inject = {base: s, collector: s * beta, emitter: -s * (1 + beta)}
                net.hinge(name, {base: s, emitter: -s}, inject, chord.conductance, chord.threshold)
                turned.append(Turned(name, Effect.SHIFT))
                if emitter == "E":
                    gained.append(Turned(name, Effect.GAIN, 1.0, net.vector({collector: s * beta, emitter: -s * beta})))
        net.knob("junction", 0.0, 0.02, "VBE 0.58 to 0.70 V at 2 mA: BC847 data sheet", *turned)
        net.knob("gain", 1.0, self.spread_of("gain"), "hFE classes of the data sheet", *gained)

    def modes(self) -> tuple[Mode, ...]:
        """Shorts between each pair of terminals, leakage, open junctions, lost gain."""
        b, c, e = self.pin("B"), self.pin("C"), self.pin("E")

        def short(name: str, share: float, first: str, second: str) -> Mode:
            return Mode(
                name, share, FAILURES, lambda ohms: (Bridge(first, second, 1 / ohms, self.name),),
                f"measure {first} to {second} with power off in both directions: it reads a few ohms",
                f"replace {self.name}", Severity("ohms", Unit.OHM, 0.1, 100.0),
            )  # fmt: skip

        return (
            short("C-E short", 0.38, c, e),
            short("B-E short", 0.18, b, e),
            short("B-C short", 0.17, b, c),
            Mode(
                "dead", 0.22, FAILURES, lambda _: (Disable(self.name),),
                f"diode check {b} to {e} and {b} to {c}: no junction conducts", f"replace {self.name}",
            ),
            Mode(
                "weak", 0.05, JUDGED, lambda factor: (Turn(self.name, "gain", 1 / factor),),
                f"replace {self.name} and measure again: a meter's junction check cannot show a low gain",
                f"replace {self.name}", Severity("gain ÷", Unit.NUMBER, 3.0, 200.0),
            ),
        )  # fmt: skip

    def cards(self, tag: str, node: Mapping[str, str]) -> tuple[str, ...]:
        """One Q card and its model."""
        return (
            f"Q{tag} {node['C']} {node['B']} {node['E']} m{tag}",
            f".model m{tag} {self.kind.upper()}(IS={self.saturation_amps!r} BF={self.gain!r} "
            f"BR={self.reverse_gain!r} RB={self.base_series_ohms!r})",
        )


class Npn(Bipolar):
    """An NPN transistor."""

    title: ClassVar = "NPN transistor"
    symbol: ClassVar = "BjtNpn"
    sign: ClassVar = 1
    default_model: ClassVar = "npn-small"
    models: ClassVar = {
        "npn-small": {"gain": 200.0, "reverse_gain": 4.0, "saturation_amps": 1e-14, "amps": 0.2},
        "npn-power": {"gain": 80.0, "reverse_gain": 4.0, "saturation_amps": 1e-12, "amps": 4.0},
    }
    kind: Literal["npn"] = "npn"


class Pnp(Bipolar):
    """A PNP transistor."""

    title: ClassVar = "PNP transistor"
    symbol: ClassVar = "BjtPnp"
    sign: ClassVar = -1
    default_model: ClassVar = "pnp-small"
    models: ClassVar = {
        "pnp-small": {"gain": 180.0, "reverse_gain": 4.0, "saturation_amps": 1e-14, "amps": 0.2},
        "pnp-power": {"gain": 80.0, "reverse_gain": 4.0, "saturation_amps": 1e-12, "amps": 4.0},
    }
    kind: Literal["pnp"] = "pnp"
