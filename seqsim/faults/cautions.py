"""The usual cautions of bench work, and which of them a board calls for.

Whoever prints advice to probe or to repair prints `probe_cautions` or `repair_cautions` with it. Limits of hazardous
live voltage: scope text of IEC 61010-031 (read there). Handling limits for static electricity: ANSI/ESD S20.20-2021
(read in its summary). All else is common practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

from seqsim.circuit import Circuit
from seqsim.parts.part import COMMON, JUDGED, Source, Standing
from seqsim.quantity import Unit, format_quantity

HAZARDOUS_DC = 60.0
HAZARDOUS_RMS = 30.0
HAZARDOUS_PEAK = 42.4
HAZARDOUS_SOURCE = Source("IEC 61010-031, scope: hazardous live above 30 V rms, 42.4 V peak, 60 V d.c.", Standing.SEEN)
STATIC_SOURCE = Source("ANSI/ESD S20.20-2021: parts that 100 V (human body model) harms", Standing.SEEN)
MANY_AMPS = 10.0
"""A supply that can give this much (A) heats a slipped probe or a ring: our judgement."""
MUCH_CHARGE = 0.01
"""Stored energy (J) from which a capacitor is discharged and measured before anyone touches it: our judgement."""
MUCH_CAPACITANCE = 100e-6
"""Capacitance (F) that falsifies ohms for seconds and can mark a meter: our judgement."""

_BATTERY = re.compile(r"bat|cell|pack|lipo|accu", re.IGNORECASE)
_MAINS = re.compile(r"mains|line_?in|(?<![a-z])ac(?![a-z])|230v|120v|115v|primary|pfc|bulk", re.IGNORECASE)


class Topic(Enum):
    """What a caution is about."""

    LAW = "local codes and licensed practice"
    MAINS = "mains side"
    VOLTAGE = "hazardous voltage"
    CHARGE = "stored charge"
    BATTERY = "batteries"
    STATIC = "static electricity"
    METER = "meter category"


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution that a board calls for: what to do, and what on the board asks for it."""

    topic: Topic
    text: str
    because: str
    source: Source


def probe_cautions(circuit: Circuit) -> tuple[Caution, ...]:
    """Return what to heed before a probe touches this board, powered or not."""
    return (*_always(circuit), *_voltage(circuit), *_charge(circuit), *_battery(circuit), *_meter(circuit))


def repair_cautions(circuit: Circuit) -> tuple[Caution, ...]:
    """Return what to heed before a part of this board is lifted, soldered or replaced."""
    return (*_always(circuit), *_voltage(circuit), *_charge(circuit), *_battery(circuit), *_static(circuit))


def off_caution(circuit: Circuit) -> str:
    """Return the caution of a power-off check or repair on this board as one line."""
    steps = ["Disconnect every supply"]
    if _battery(circuit):
        steps.append("take the battery off at its connector")
    steps.append("let capacitors discharge and measure that the rails are at 0 V before you touch the board")
    if _static(circuit):
        steps.append("wear a grounded wrist strap")
    line = ", ".join(steps[:-1]) + f", and {steps[-1]}" if len(steps) > 1 else steps[0]
    if _voltage(circuit):
        return f"{line}. {_voltage(circuit)[0].text}"
    return f"{line}."


def _always(circuit: Circuit) -> tuple[Caution, ...]:
    return (
        Caution(
            Topic.LAW,
            "Local codes come first, and work that they reserve for licensed people is theirs.",
            "every board", COMMON,
        ),
        Caution(
            Topic.MAINS,
            "If anything feeds this board from the mains, that side is live, also where nothing is connected to it: "
            "leave it closed, probe the isolated side only, and never put the earth clip of a scope on it.",
            _named(circuit, _MAINS) or "any supply may hang on the mains", COMMON,
        ),
    )  # fmt: skip


def _voltage(circuit: Circuit) -> tuple[Caution, ...]:
    """Hazardous live voltages, by the highest that two supplies can make between them."""
    volts = _most_volts(circuit)
    mains = _named(circuit, _MAINS)
    if volts <= (HAZARDOUS_PEAK if mains else HAZARDOUS_DC):
        return ()
    shown = format_quantity(volts, Unit.VOLT)
    return (
        Caution(
            Topic.VOLTAGE,
            f"This board reaches {shown}, which is hazardous live: work on it only if you are qualified to, with one "
            f"hand, insulated probes and never alone; otherwise stop here.",
            f"supplies reach {shown}; the limits are {HAZARDOUS_DC:g} V d.c., {HAZARDOUS_RMS:g} V rms, "
            f"{HAZARDOUS_PEAK:g} V peak",
            HAZARDOUS_SOURCE,
        ),
    )


def _charge(circuit: Circuit) -> tuple[Caution, ...]:
    """Capacitors that hold enough to hurt, or to falsify a reading."""
    large = large_capacitors(circuit)
    if large:
        text = (
            "Capacitors keep their charge after power is off: discharge them through a resistor (1 kΩ to 10 kΩ, a few "
            "watts), never with a screwdriver, and measure that they are empty before you touch or read ohms."
        )
        return (Caution(Topic.CHARGE, text, ", ".join(large), JUDGED),)
    text = "Capacitors keep their charge after power is off: measure 0 V on every rail before you read ohms or diodes."
    return (Caution(Topic.CHARGE, text, "every board", COMMON),)


def large_capacitors(circuit: Circuit) -> list[str]:
    """Return the capacitors that have to be drained through a resistor, each with its size."""
    most = _most_volts(circuit)
    large = []
    for name, part in circuit.parts.items():
        farads = getattr(part, "farads", None)
        if not isinstance(farads, float):
            continue
        # a value such as 100u may lie a rounding below its limit
        if farads * most**2 / 2 >= MUCH_CHARGE or farads * (1 + 1e-9) >= MUCH_CAPACITANCE:
            large.append(f"{name} ({format_quantity(farads, Unit.FARAD)})")
    return large


def _battery(circuit: Circuit) -> tuple[Caution, ...]:
    """Supplies that are batteries by their name, or strong enough to weld."""
    found = [
        name for name, supply in circuit.supplies.items()
        if _BATTERY.search(name) or (supply.amps is not None and supply.amps >= MANY_AMPS)
    ]  # fmt: skip
    if not found:
        return ()
    text = (
        "A battery has no switch and no limit: take off rings and watch, insulate its terminals, disconnect it before "
        "you solder, and never charge, short or heat a swollen one."
    )
    return (Caution(Topic.BATTERY, text, ", ".join(found), COMMON),)


def _static(circuit: Circuit) -> tuple[Caution, ...]:
    """Parts that static electricity destroys."""
    found = [name for name, part in circuit.parts.items() if not part.passive]
    if not found:
        return ()
    text = (
        "Static electricity kills semiconductors unfelt: work at a grounded mat with a wrist strap, and take the strap "
        "off wherever a voltage is hazardous."
    )
    because = ", ".join(found[:3]) + (" and others" if len(found) > 3 else "")
    return (Caution(Topic.STATIC, text, because, STATIC_SOURCE),)


def _meter(circuit: Circuit) -> tuple[Caution, ...]:
    """What meter and leads have to bear."""
    text = (
        "Use a meter and leads whose measurement category and voltage fit (CAT II for what is plugged into the mains, "
        "CAT III for the building's wiring), with the leads in the voltage jacks: the current jack is a short circuit."
    )
    return (
        Caution(
            Topic.METER, text, f"up to {format_quantity(_most_volts(circuit), Unit.VOLT)} on this board",
            Source("IEC 61010-1 measurement categories, as meter makers quote them", Standing.SEEN),
        ),
    )  # fmt: skip


def _most_volts(circuit: Circuit) -> float:
    """The highest voltage (V) between two points that the supplies can make, with three spreads of their own."""
    supplies = [supply.volts * (1 + 3 * supply.spread) for supply in circuit.supplies.values()]
    levels = [0.0, *supplies, *(rail.volts for rail in circuit.rails.values())]
    return max(levels) - min(levels)


def _named(circuit: Circuit, pattern: re.Pattern[str]) -> str:
    return ", ".join(name for name in (*circuit.supplies, *circuit.rails) if pattern.search(name))
