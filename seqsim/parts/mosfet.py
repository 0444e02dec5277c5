"""MOSFETs: the square law in its symmetric form, with the body diode.

The channel current is f(vG − vS) − f(vG − vD) with f(v) = (K/2)·(v − threshold)² above the threshold: triode
region, pinch-off and source follower are one expression, and source and drain may change their roles.

Source of the law: Sedra and Smith, *Microelectronic Circuits*, MOSFET chapter (from memory); the two-term form
follows from it by algebra.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.failing import LEAK, between, exchanged, gone, turned
from seqsim.parts.laws import (
    OVERDRIVE_ANCHORS,
    THERMAL_VOLTS,
    junction_anchors,
    junction_chords,
    saturation_for,
    square_chords,
)
from seqsim.parts.part import JUDGED, UNKNOWN, Mode, Part, PartError, Rate, Severity, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity

FAILURES = Source(
    "MIL-HDBK-338B, failure-mode distributions, field-effect transistor (short 0.51), and Birolini (0.80): between "
    "them; the split over pins is our judgement",
    Standing.MEMORY,
)
OVERDRIVEN_GATE = 2.2
"""The largest overdrive of the chords as a multiple of the one before: a gate at 10 or 12 V of a type that is specified
at 4.5 V."""
CHANNEL = tuple(f"{way} {k}" for way in ("channel", "channel backwards") for k in range(1, len(OVERDRIVE_ANCHORS) + 1))


class Mosfet(Part):
    """What N- and P-channel MOSFETs share; ``sign`` is +1 for N and -1 for P."""

    pin_names: ClassVar = ("G", "D", "S")
    rate: ClassVar = Rate(
        5.0, Source("between MIL-HDBK-217F parts count (10) and flat ratios of SN 29500", Standing.MEMORY)
    )
    sign: ClassVar[int]

    threshold: float = value(
        Unit.VOLT, "gate threshold voltage, a magnitude", spread=0.15, absolute=True, least=0.1, most=10,
        source=Source("spread: 0.8 to 1.5 V, BSS138 data sheet", Standing.SEEN),
    )  # fmt: skip
    on_ohms: float | None = value(
        Unit.OHM, "resistance of the channel at gate_drive", None, spread=0.25, least=1e-4, most=1e4,
        source=Source("spread: typical against largest, AO3401A and Si2301 data sheets", Standing.SEEN),
    )  # fmt: skip
    gate_drive: float = value(
        Unit.VOLT, "gate voltage at which on_ohms holds, a magnitude", 4.5, least=0.2, most=50,
        source=Source("usual test condition of logic-level MOSFETs", Standing.COMMON),
    )  # fmt: skip
    transconductance: float | None = value(
        Unit.AMPERE_PER_VOLT_SQUARED, "K of the square law, instead of on_ohms", None, spread=0.25,
        least=1e-7, most=1e4, source=Source("spread: as on_ohms", Standing.SEEN),
    )  # fmt: skip
    gate_limit: float = value(
        Unit.VOLT, "largest gate voltage, either way", 20.0, least=0.5, most=100,
        source=Source("usual rating; 12 V and 8 V for low thresholds", Standing.COMMON),
    )  # fmt: skip
    body_volts: float = value(
        Unit.VOLT, "forward voltage of the body diode at amps", 0.8, spread=0.04, least=0.3, most=2,
        source=Source("VSD 0.7 V typical, 1 V largest, AO3401A data sheet", Standing.SEEN),
    )  # fmt: skip
    amps: float = value(Unit.AMPERE, "rated drain current", 0.2, least=1e-4, most=1e3)

    @classmethod
    def base_values(cls, given: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values of the device type, without its resistance where K is given instead."""
        base = super().base_values(given)
        if given.get("transconductance", UNKNOWN) != UNKNOWN:
            base.pop("on_ohms", None)
        return base

    def check_values(self) -> None:
        """Check that the strength is given once and can be reached."""
        if self.on_ohms is not None and self.transconductance is not None:
            raise PartError("transconductance", "give on_ohms or transconductance, not both")
        if self.on_ohms is None and self.transconductance is None:
            raise PartError("on_ohms", "a MOSFET needs on_ohms (at gate_drive) or transconductance")
        if self.transconductance is None and self.gate_drive <= self.threshold:
            message = (
                f"gate_drive is {format_quantity(self.gate_drive, Unit.VOLT)}, which is not above the threshold of "
                f"{format_quantity(self.threshold, Unit.VOLT)}; give the gate voltage at which on_ohms holds"
            )
            raise PartError("gate_drive", message)

    @property
    def strength(self) -> float:
        """K of the square law (A/V²)."""
        if self.on_ohms is None:
            return self.transconductance or 0.0
        return 1 / (self.on_ohms * (self.gate_drive - self.threshold))

    @property
    def anchors(self) -> tuple[float, ...]:
        """Overdrives between which the chords run, one more for a gate that is driven beyond that.

        The last but one has the slope of the law at the specified drive.
        """
        *lower, top = OVERDRIVE_ANCHORS
        if self.transconductance is None:
            top = max(2 * (self.gate_drive - self.threshold) - lower[-1], 2 * lower[-1])
        return (*lower, top, OVERDRIVEN_GATE * top)

    @property
    def body_saturation_amps(self) -> float:
        """Saturation current of the body diode (A)."""
        return saturation_for(self.body_volts, self.amps)

    def emit(self, net: Owned) -> None:
        """Add the channel in both directions and the body diode."""
        s = self.sign
        forward: list[str] = []
        backward: list[str] = []
        body: list[str] = []
        for k, chord in enumerate(square_chords(self.strength, self.threshold, self.anchors)):
            for role, near, far, roles in (
                ("channel", "S", "D", forward),
                ("channel backwards", "D", "S", backward),
            ):
                roles.append(f"{role} {k + 1}")
                net.hinge(roles[-1], {"G": s, near: -s}, {far: s, near: -s}, chord.conductance, chord.threshold)
        across = {"S": float(s), "D": float(-s)}
        for k, chord in enumerate(junction_chords(self.body_saturation_amps, anchors=junction_anchors(self.amps))):
            body.append(f"body diode {k + 1}")
            net.hinge(body[-1], across, across, chord.conductance, chord.threshold)
        channel = (*forward, *backward)
        net.knob(
            "threshold", 0.0, self.spread_of("threshold"), "threshold window of the BSS138 data sheet",
            *(Turned(role, Effect.SHIFT) for role in channel),
        )  # fmt: skip
        by_k = self.transconductance is not None or "transconductance" in self.unknown
        given = "transconductance" if by_k else "on_ohms"
        net.knob(
            "transconductance", 1.0, self.spread_of(given), "typical against largest on-resistance of data sheets",
            *(Turned(role, Effect.SCALE) for role in channel),
        )  # fmt: skip
        net.knob(
            "body diode", 0.0, self.spread_of("body_volts") * self.body_volts, "window of VSD in data sheets",
            *(Turned(role, Effect.SHIFT) for role in body),
        )  # fmt: skip

    def modes(self) -> tuple[Mode, ...]:
        """Shorts between each pair of terminals, leakage, a channel that has gone, is weak, or wants more gate."""
        swap = f"replace {self.name} and measure again: a meter cannot show it in the board"
        return (
            between(self, "D-S short", 0.34, FAILURES, ("D", "S")),
            between(self, "G-S short", 0.14, FAILURES, ("G", "S")),
            between(self, "G-D short", 0.10, FAILURES, ("G", "D")),
            between(self, "leaky", 0.09, FAILURES, ("D", "S"), LEAK),
            between(self, "gate leaky", 0.08, FAILURES, ("G", "S"), LEAK),
            gone(self, "dead", 0.15, FAILURES, swap, CHANNEL),
            turned(
                self, "weak", 0.05, JUDGED, swap, "transconductance", Severity("K ÷", Unit.NUMBER, 3.0, 1e3), down=True
            ),
            turned(self, "threshold high", 0.05, JUDGED, swap, "threshold", Severity("by", Unit.VOLT, 0.3, 3.0)),
        )  # fmt: skip

    def misfits(self) -> tuple[Mode, ...]:
        """Return a transistor of another pin order."""
        return (exchanged(self, "D", "S"), exchanged(self, "G", "S"), exchanged(self, "G", "D"))

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One M card of level 1 with the bulk at the source, and its model; a dead channel leaves the body diode."""
        d, g, s = node["D"], node["G"], node["S"]
        saturation = self.body_saturation_amps * math.exp(-node.knob("body diode", 0.0) / THERMAL_VOLTS)
        if not node.works(*CHANNEL):
            anode, cathode = (s, d) if self.sign > 0 else (d, s)
            return (f"D{tag} {anode} {cathode} m{tag}", node.model(f"m{tag}", "D", IS=saturation))
        model = node.model(
            f"m{tag}",
            "NMOS" if self.sign > 0 else "PMOS",
            LEVEL=1,
            VTO=self.sign * (self.threshold + node.knob("threshold", 0.0)),
            KP=self.strength * node.knob("transconductance"),
            IS=saturation,
        )
        return (f"M{tag} {d} {g} {s} {s} m{tag}", model)


BSS138 = Source("BSS138 data sheet, typical at 4.5 V", Standing.SEEN)


class Nmos(Mosfet):
    """An N-channel MOSFET."""

    title: ClassVar = "N-channel MOSFET"
    symbol: ClassVar = "NMos"
    sign: ClassVar = 1
    default_model: ClassVar = "nmos-small"
    models: ClassVar = {
        "nmos-small": {"threshold": 1.3, "on_ohms": 1.0, "gate_drive": 4.5, "gate_limit": 20.0, "amps": 0.22},
        "nmos-logic": {"threshold": 1.05, "on_ohms": 0.03, "gate_drive": 4.5, "gate_limit": 12.0, "amps": 5.0},
        "nmos-power": {"threshold": 3.0, "on_ohms": 0.02, "gate_drive": 10.0, "gate_limit": 20.0, "amps": 30.0},
    }
    model_sources: ClassVar = {
        "nmos-small": BSS138,
        "nmos-logic": Source("AO3400A data sheet, typical at 4.5 V", Standing.MEMORY),
        "nmos-power": Source("standard-level power MOSFETs, threshold 2 to 4 V", Standing.COMMON),
    }
    kind: Literal["nmos"] = "nmos"


class Pmos(Mosfet):
    """A P-channel MOSFET; its voltages are given as magnitudes."""

    title: ClassVar = "P-channel MOSFET"
    symbol: ClassVar = "PMos"
    sign: ClassVar = -1
    default_model: ClassVar = "pmos-small"
    models: ClassVar = {
        "pmos-small": {"threshold": 0.7, "on_ohms": 0.105, "gate_drive": 4.5, "gate_limit": 8.0, "amps": 2.3},
        "pmos-power": {"threshold": 0.9, "on_ohms": 0.047, "gate_drive": 4.5, "gate_limit": 12.0, "amps": 4.0},
    }
    model_sources: ClassVar = {
        "pmos-small": Source("Si2301DS and Si2301BDS data sheets, typical at 4.5 V", Standing.SEEN),
        "pmos-power": Source("AO3401A data sheet, typical at 4.5 V", Standing.SEEN),
    }
    kind: Literal["pmos"] = "pmos"
