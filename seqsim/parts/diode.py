"""Diodes: silicon, Schottky, Zener and light-emitting, single or two in one package.

The law is Shockley's with a series resistance; a Zener adds one reversed piece at its voltage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.failing import LEAK, between, exchanged, gone
from seqsim.parts.laws import (
    JUNCTION_ANCHORS,
    THERMAL_VOLTS,
    Chord,
    junction_anchors,
    junction_chords,
    junction_roles,
    junction_volts,
    overdriven,
    saturation_for,
    volts_at,
)
from seqsim.parts.part import (
    JUDGED,
    TOLERANCE_TO_DEVIATION,
    UNKNOWN,
    UNKNOWN_SHARE,
    Mode,
    Part,
    PartError,
    Rate,
    Source,
    Standing,
    value,
)
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit, format_quantity

ZENER_TEST_AMPS = 5e-3
"""Current at which the voltage of a small Zener diode is specified (BZX84 data sheet, from memory)."""

BREAKDOWN_ANCHORS = (1e-6, 1e-4, 1e-2, 1.0)
"""Currents (A) between which the chords of a breakdown run, from a leak to a short."""

BREAKDOWN = tuple(f"breakdown {k}" for k in range(1, len(BREAKDOWN_ANCHORS)))

BREAKDOWN_AMPS = 1e-9
"""Saturation current of the law that a breakdown follows above a microampere; only its shape matters."""

DUAL_PINS = {
    None: (("A", "K"), (("A", "K"),)),
    "common-anode": (("A", "K1", "K2"), (("A", "K1"), ("A", "K2"))),
    "common-cathode": (("A1", "A2", "K"), (("A1", "K"), ("A2", "K"))),
    "series": (("A", "M", "K"), (("A", "M"), ("M", "K"))),
}
"""Pins in their order, and anode and cathode of each diode (BAT54 and its A, C and S types, Vishay 85508)."""


@dataclass(frozen=True, slots=True)
class _Shares:
    short: float
    open: float
    leaky: float
    source: Source


_SHARES = {
    "silicon": _Shares(0.49, 0.36, 0.15, Source("MIL-HDBK-338B, failure modes, general diode", Standing.MEMORY)),
    "schottky": _Shares(
        0.51, 0.29, 0.20, Source("MIL-HDBK-338B, failure modes, rectifier diode", Standing.MEMORY)
    ),
    "zener": _Shares(
        0.45, 0.325, 0.225,
        Source("mean of MIL-HDBK-338B (regulator Zener) and Birolini, which disagree", Standing.MEMORY),
    ),
    "led": _Shares(0.45, 0.40, 0.15, JUDGED),
}  # fmt: skip


class Diode(Part):
    """A diode, or two in one package."""

    title: ClassVar = "diode"
    pin_names: ClassVar = ("A", "K")
    rate: ClassVar = Rate(
        2.5, Source("between MIL-HDBK-217F parts count (0.7 to 2.6) and SN 29500 (about 7)", Standing.MEMORY)
    )
    symbol: ClassVar = "Diode"
    default_model: ClassVar = "signal"
    models: ClassVar = {
        "signal": {
            "type": "silicon", "forward_volts": 0.715, "amps": 0.01, "emission": 1.85, "series_ohms": 0.6,
        },
        "rectifier": {
            "type": "silicon", "forward_volts": 0.9, "amps": 1.0, "emission": 1.8, "series_ohms": 0.04,
        },
        "schottky-small": {
            "type": "schottky", "forward_volts": 0.29, "amps": 1e-3, "emission": 1.1, "series_ohms": 1.0,
        },
        "schottky-power": {
            "type": "schottky", "forward_volts": 0.45, "amps": 1.0, "emission": 1.05, "series_ohms": 0.05,
        },
        "zener": {"type": "zener", "forward_volts": 0.75, "amps": 0.01, "emission": 1.2, "series_ohms": 5.0},
        "led-red": {"type": "led", "forward_volts": 1.9, "amps": 0.02, "emission": 2.0, "series_ohms": 3.0},
        "led-green": {"type": "led", "forward_volts": 2.1, "amps": 0.02, "emission": 2.0, "series_ohms": 4.0},
        "led-white": {"type": "led", "forward_volts": 3.1, "amps": 0.02, "emission": 3.0, "series_ohms": 5.0},
    }  # fmt: skip
    model_sources: ClassVar = {
        "signal": Source("1N4148 typical curves; limits of 1N4148 and 1N4448 data sheets", Standing.MEMORY),
        "rectifier": Source("1 A rectifiers, typical curve", Standing.MEMORY),
        "schottky-small": Source("BAT54 data sheets, typical VF from 0.1 to 100 mA", Standing.SEEN),
        "schottky-power": Source("1 A Schottky rectifiers, typical curve", Standing.MEMORY),
        "zener": Source("BZX84 data sheet, forward direction", Standing.MEMORY),
        "led-red": Source("common practice: 1.8 to 2.0 V at 20 mA", Standing.COMMON),
        "led-green": Source("common practice: about 2.1 V at 20 mA", Standing.COMMON),
        "led-white": Source("common practice: about 3.1 V at 20 mA, blue likewise", Standing.COMMON),
    }
    types: ClassVar = {"silicon": "signal", "schottky": "schottky-small", "zener": "zener", "led": "led-red"}
    """Device type that stands for each type of diode."""

    kind: Literal["diode"] = "diode"
    type: Literal["silicon", "schottky", "zener", "led"] = "silicon"
    dual: Literal["common-anode", "common-cathode", "series"] | None = None
    volts: float | None = value(
        Unit.VOLT, "Zener voltage at 5 mA", None, spread=0.05 * TOLERANCE_TO_DEVIATION, least=1, most=300,
        source=Source("tolerance of 5 % of Zener diodes", Standing.COMMON),
    )  # fmt: skip
    forward_volts: float | None = value(
        Unit.VOLT, "forward voltage at amps", None, spread=0.04, least=0.05, most=10,
        source=Source("spread: 0.62 to 0.72 V at 5 mA, 1N4448 data sheet", Standing.SEEN),
    )  # fmt: skip
    amps: float = value(
        Unit.AMPERE, "current at which forward_volts holds", 0.01, least=1e-6, most=100
    )  # fmt: skip
    saturation_amps: float | None = value(
        Unit.AMPERE, "saturation current, instead of forward_volts", None, least=1e-40, most=1e-2
    )  # fmt: skip
    emission: float = value(
        Unit.NUMBER, "emission coefficient", 1.85, least=0.8, most=6,
        source=Source("slope of about 110 mV a decade of the 1N4148", Standing.MEMORY),
    )  # fmt: skip
    series_ohms: float = value(
        Unit.OHM, "series resistance", 0.6, most=1e4, source=Source("1N4148 typical curve", Standing.MEMORY)
    )  # fmt: skip
    zener_ohms: float = value(
        Unit.OHM, "differential resistance of a Zener diode at 5 mA", 10.0, least=0.1, most=1e4,
        source=Source("BZX84 data sheet: 6 to 90 Ω by voltage, least between 6 and 12 V", Standing.MEMORY),
    )  # fmt: skip

    @classmethod
    def pins_for(cls, given: Mapping[str, Any]) -> tuple[str, ...]:
        """Return two pins, or three of a dual diode."""
        return DUAL_PINS.get(given.get("dual"), DUAL_PINS[None])[0]

    @classmethod
    def base_values(cls, given: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values of the device type, or of the one that stands for the type of diode."""
        model = given.get("model") or cls.types.get(given.get("type", ""), cls.default_model)
        base = dict(cls.models.get(model, {}))
        if base and given.get("type", base["type"]) != base["type"]:
            message = f"model {model} is of type {base['type']}, but type says {given['type']}; leave one of them out"
            raise PartError("type", message)
        if given.get("saturation_amps", UNKNOWN) != UNKNOWN:
            base.pop("forward_volts", None)
        return base

    def check_values(self) -> None:
        """Check that the law is given once, and that a Zener has its voltage."""
        if self.forward_volts is not None and self.saturation_amps is not None:
            raise PartError("saturation_amps", "give forward_volts or saturation_amps, not both")
        if self.forward_volts is not None and self.forward_volts <= self.amps * self.series_ohms:
            message = (
                f"forward_volts is {format_quantity(self.forward_volts, Unit.VOLT)}, but series_ohms alone drop "
                f"{format_quantity(self.amps * self.series_ohms, Unit.VOLT)} at "
                f"{format_quantity(self.amps, Unit.AMPERE)}; lower series_ohms"
            )
            raise PartError("series_ohms", message)
        if self.type == "zener" and self.volts is None and "volts" not in self.unknown:
            raise PartError("volts", "a Zener diode needs its voltage; write volts, or 'volts: ?'")
        if self.type != "zener" and self.volts is not None:
            raise PartError("volts", f"volts is for Zener diodes, and this one is of type {self.type}; remove it")

    @property
    def elements(self) -> tuple[tuple[str, str], ...]:
        """Anode and cathode of each diode in the package."""
        return DUAL_PINS[self.dual][1]

    @property
    def law(self) -> tuple[float, float, float]:
        """Saturation current (A), emission coefficient, series resistance (Ω)."""
        amps = self.saturation_amps
        if amps is None:
            volts = 0.7 if self.forward_volts is None else self.forward_volts
            amps = saturation_for(volts, self.amps, self.emission, self.series_ohms)
        return amps, self.emission, self.series_ohms

    @property
    def zener_volts(self) -> float:
        """Zener voltage; 5.1 V stand for an unknown one (our judgement)."""
        return 5.1 if self.volts is None else self.volts

    def label(self, anode: str, cathode: str) -> str:
        """Return what sets the diodes of a package apart: ``A-K1 `` with a space, nothing for a single one."""
        return "" if self.dual is None else f"{anode}-{cathode} "

    def roles(self, label: str) -> tuple[str, ...]:
        """Return the roles of one diode of the package."""
        return (*junction_roles(f"{label}junction"), *(f"{label}{role}" for role in BREAKDOWN))

    def emit(self, net: Owned) -> None:
        """Add the chords of each diode, and the breakdown of a Zener."""
        anchors = junction_anchors(self.amps if self.type == "led" else max(self.amps, JUNCTION_ANCHORS[-1]))
        for anode, cathode in self.elements:
            label = self.label(anode, cathode)
            across = {anode: 1.0, cathode: -1.0}
            roles = junction_roles(f"{label}junction")
            for role, chord in zip(roles, junction_chords(*self.law, overdriven(anchors)), strict=True):
                net.hinge(role, across, across, chord.conductance, chord.threshold)
            net.knob(
                f"{label}junction", 0.0, self.junction_spread(), "0.62 to 0.72 V at 5 mA: 1N4448 data sheet",
                *(Turned(role, Effect.SHIFT) for role in roles),
            )  # fmt: skip
            if self.type == "zener":
                back = {cathode: 1.0, anode: -1.0}
                broken = [f"{label}{role}" for role in BREAKDOWN]
                for role, chord in zip(broken, self.breakdown(), strict=True):
                    net.hinge(role, back, back, chord.conductance, chord.threshold)
                spread = UNKNOWN_SHARE if "volts" in self.unknown else self.spread_of("volts")
                net.knob(
                    f"{label}zener volts", 0.0, spread * self.zener_volts, "tolerance of Zener diodes",
                    *(Turned(role, Effect.SHIFT) for role in broken),
                )  # fmt: skip

    def breakdown(self) -> tuple[Chord, ...]:
        """Return the chords of the breakdown: a junction's law, shifted so that it gives the voltage at 5 mA."""
        ohms = max(self.zener_ohms - THERMAL_VOLTS / ZENER_TEST_AMPS, 0.1 * self.zener_ohms)
        shift = self.zener_volts - junction_volts(ZENER_TEST_AMPS, BREAKDOWN_AMPS, 1.0, ohms)
        pieces = junction_chords(BREAKDOWN_AMPS, 1.0, ohms, BREAKDOWN_ANCHORS)
        shift += self.zener_volts - shift - volts_at(pieces, ZENER_TEST_AMPS)
        return tuple(Chord(piece.conductance, max(piece.threshold + shift, 0.0)) for piece in pieces)

    def junction_spread(self) -> float:
        """Standard deviation of the forward voltage (V)."""
        unknown = self.unknown & {"forward_volts", "saturation_amps"}
        spread = UNKNOWN_SHARE if unknown else self.spread_of("forward_volts")
        return spread * junction_volts(self.amps, *self.law)

    def modes(self) -> tuple[Mode, ...]:
        """Short, open and leaking backwards, for each diode of the package."""
        shares = _SHARES[self.type]
        part = 1 / len(self.elements)
        found = []
        for anode, cathode in self.elements:
            label = self.label(anode, cathode)
            roles = self.roles(label)
            pins = (anode, cathode)
            check = f"diode check {self.pin(anode)} to {self.pin(cathode)} with power off: it does not conduct"
            found += [
                between(self, f"{label}short", shares.short * part, shares.source, pins),
                gone(self, f"{label}open", shares.open * part, shares.source, check, roles),
                between(self, f"{label}leaky", shares.leaky * part, shares.source, pins, LEAK),
            ]
        return tuple(found)

    def misfits(self) -> tuple[Mode, ...]:
        """Return the diode reversed, or a pin of a dual one in its partner's place."""
        if self.dual is None:
            return (exchanged(self, "A", "K", "reversed"),)
        return tuple(exchanged(self, anode, cathode) for anode, cathode in self.elements)

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """One D card and one model for each diode."""
        amps, emission, ohms = self.law
        lines = []
        for letter, (anode, cathode) in zip("ab", self.elements, strict=False):
            label = self.label(anode, cathode)
            if not node.works(*self.roles(label)):
                continue
            shift = node.knob(f"{label}junction", 0.0)
            law = {"IS": amps * math.exp(-shift / (emission * THERMAL_VOLTS)), "N": emission, "RS": ohms}
            if self.type == "zener":
                # SPICE counts the series resistance on top of BV
                inner = self.zener_volts + node.knob(f"{label}zener volts", 0.0) - ZENER_TEST_AMPS * ohms
                law |= {"BV": inner, "IBV": ZENER_TEST_AMPS}
            lines.append(f"D{tag}{letter} {node[anode]} {node[cathode]} m{tag}{letter}")
            lines.append(node.model(f"m{tag}{letter}", "D", **law))
        return tuple(lines)
