"""What each element of a netlist is in a circuit file: its kind, its pins in their order, its values.

The parameters of SPICE models are carried into the values of the parts; those without a counterpart are noted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from seqsim.netlist.cards import GROUND_NODES, Element
from seqsim.netlist.numbers import bench
from seqsim.netlist.problems import Problems
from seqsim.netlist.values import Values, area_factor, geometry, law_of
from seqsim.parts.laws import THERMAL_VOLTS, junction_volts

LARGEST_OHMS = 1e9
"""A resistor above this is less than the leak that every node has: it is written as an open contact."""
COIL_OHMS = 1e-4
"""Wire of a coil, which SPICE takes for ideal."""
PUSHED_VOLTS = 100.0
"""What a current source may push up to; a source of SPICE has no bound."""
LOAD_VOLTS = 0.01
"""Voltage from which a current source that draws does so in full."""
ZENER_AMPS = 5e-3
"""Current at which a circuit file gives the voltage of a Zener diode."""
BODY_AMPS = 0.2
"""Current at which a circuit file gives the body diode of a small MOSFET."""
GATE_LIMIT = 20.0
"""Largest gate voltage (V), which SPICE does not tell: the usual rating."""
HIGHEST_ZENER = 75.0
"""A breakdown voltage above this (V) is taken for the rating of a diode that is no Zener diode: our judgement."""
TYPE_AMPS = 1e-3
SCHOTTKY_BELOW, LED_ABOVE = 0.45, 1.2
"""Forward voltages (V) at 1 mA that tell the types of diodes apart: our judgement."""


@dataclass(frozen=True, slots=True)
class Described:
    """An entry of a circuit file: a part, or with ``kind`` None a supply."""

    kind: str | None
    nodes: tuple[str, ...]
    values: Mapping[str, str]
    remarks: tuple[str, ...] = ()


def describe(element: Element, problems: Problems) -> Described | None:
    """Return what an element is in a circuit file, or None after an error was noted."""
    return _DESCRIBERS[element.letter](Values(element, problems))


def _passive(
    kind: str, key: str, idle: Collection[str], more: Mapping[str, str]
) -> Callable[[Values], Described | None]:
    def read(values: Values) -> Described | None:
        element = values.element
        words = element.words
        text = element.parameters.get(element.letter)
        if text is None:
            text, *rest = words or ("",)
            words = tuple(rest)
        values.left_over(words, (element.letter,), idle)
        number = values.number(text, key)
        if number is None:
            return None
        if kind == "resistor" and text.lower().lstrip("+-.0123456789").startswith("m") and "meg" not in text.lower():
            values.remark(f"SPICE reads {text} as {bench(number)} ohms; a megohm is written MEG")
        if kind == "resistor" and number > LARGEST_OHMS:
            values.remark(f"{text} ohms are more than any board has between two points: an open contact")
            return Described("jumper", element.nodes, {"closed": "false"}, tuple(values.remarks))
        return Described(kind, element.nodes, {key: bench(number), **more}, tuple(values.remarks))

    return read


def _source_volts(values: Values) -> float | None:
    """Return the steady value of a V or I element."""
    element = values.element
    words = list(element.words)
    steady: str | None = None
    told = next((k for k, word in enumerate(words[:-1]) if word.lower() == "dc"), None)
    if told is not None:
        steady = words[told + 1]
        del words[told : told + 2]
    while words:
        word = words.pop(0)
        lower = word.lower()
        if lower == "ac":
            values.remark("its AC value is left out")
            while words and words[0].lower() not in _WAVES:
                words.pop(0)
        elif lower in _WAVES:
            if steady is None:
                mend = f"write its steady value, like {element.name} {' '.join(element.nodes)} DC 5"
                values.problems.error(element.line, f"{element.name} has only a waveform ({word}); {mend}", got=word)
                return None
            values.remark(f"its waveform {word} is left out, its steady value kept; power states tell when it is on")
            break
        elif steady is None:
            steady = word
        else:
            values.left_over((word,))
            return None
    values.left_over(())
    if steady is None:
        values.remark("it has no steady value, which SPICE takes for 0")
    return values.number(steady or "0", "the value")


_WAVES = ("pulse", "sin", "exp", "pwl", "sffm", "am", "trnoise", "trrandom", "external")


def _voltage(values: Values) -> Described | None:
    element = values.element
    volts = _source_volts(values)
    if volts is None:
        return None
    plus, minus = element.nodes
    if not _is_ground(plus) and not _is_ground(minus):
        if volts == 0:
            values.remark("0 V between two nodes: a wire in which a current is watched")
            return Described("jumper", element.nodes, {"ohms": bench(COIL_OHMS)}, tuple(values.remarks))
        message = f"{element.name} lies between two nodes, but a supply of a circuit file has its other end on ground"
        values.problems.error(element.line, f"{message}; put node 0 at one end")
        return None
    if _is_ground(plus) and _is_ground(minus):
        values.problems.error(element.line, f"{element.name} has both ends on ground; remove it or move one end")
        return None
    node, volts = (plus, volts) if _is_ground(minus) else (minus, -volts)
    return Described(None, (node,), {"volts": bench(volts), "ohms": "0"}, tuple(values.remarks))


def _current(values: Values) -> Described | None:
    element = values.element
    amps = _source_volts(values)
    if amps is None:
        return None
    # SPICE's current runs through the source from the first node to the second
    out, into = element.nodes if amps >= 0 else element.nodes[::-1]
    if _is_ground(out) and not _is_ground(into):
        values.remark(f"it pushes its current in, up to {bench(PUSHED_VOLTS)} V: a supply in its limit")
        limited = {"volts": bench(PUSHED_VOLTS), "ohms": "1", "amps": bench(abs(amps))}
        return Described(None, (into,), limited, tuple(values.remarks))
    values.remark("it draws while there is a voltage across it: a load")
    drawing = {"amps": bench(abs(amps)), "full_volts": bench(LOAD_VOLTS)}
    return Described("load", (out, into), drawing, tuple(values.remarks))


def _diode(values: Values) -> Described | None:
    element = values.element
    law, area = law_of(values), area_factor(values)
    if law is None or area is None:
        return None
    amps, emission, ohms = law["IS"] * area, law["N"], law["RS"] / area
    found = {"saturation_amps": bench(amps), "emission": bench(emission), "series_ohms": bench(ohms)}
    breakdown = law.get("BV", math.inf)
    if 0 < breakdown <= HIGHEST_ZENER:
        tested = law.get("IBV", 1e-3) * area
        volts = breakdown + THERMAL_VOLTS * math.log(ZENER_AMPS / tested) + ZENER_AMPS * ohms
        found |= {"volts": bench(round(volts, 6)), "zener_ohms": bench(round(ohms + THERMAL_VOLTS / ZENER_AMPS, 4))}
        return Described("diode", element.nodes, {"type": "zener", **found}, tuple(values.remarks))
    if breakdown < math.inf:
        values.remark(f"its breakdown at {bench(breakdown)} V is taken for a rating and left out")
    forward = junction_volts(TYPE_AMPS, amps, emission, ohms) if amps > 0 else 0.0
    kind = "schottky" if forward < SCHOTTKY_BELOW else "led" if forward > LED_ABOVE else "silicon"
    values.remarks.append(f"{kind}, as its {forward:.2f} V at 1 mA suggest")
    return Described("diode", element.nodes, {"type": kind, **found}, tuple(values.remarks))


def _bipolar(values: Values) -> Described | None:
    element = values.element
    law, area = law_of(values), area_factor(values)
    if law is None or area is None or element.model is None:
        return None
    collector, base, emitter = element.nodes
    found = {
        "gain": bench(law["BF"]),
        "reverse_gain": bench(law["BR"]),
        "saturation_amps": bench(law["IS"] * area),
        "base_series_ohms": bench(law["RB"] / area),
    }
    if "IKF" in law:
        found["amps"] = bench(law["IKF"] * area)
    else:
        values.remarks.append("no IKF: its gain falls above the 200 mA of a small transistor")
    return Described(element.model.kind.lower(), (base, collector, emitter), found, tuple(values.remarks))


def _mosfet(values: Values) -> Described | None:
    element = values.element
    law = law_of(values)
    ratio = geometry(values)
    if law is None or ratio is None or element.model is None:
        return None
    name, line = element.name, element.line
    if law["LEVEL"] != 1:
        message = f"{name} has a model of level {law['LEVEL']:g}, but only the square law of level 1 has a counterpart"
        values.problems.error(line, f"{message}; give VTO and KP of level 1")
        return None
    drain, gate, source, bulk = element.nodes
    if bulk.lower() != source.lower():
        message = f"{name} has its bulk on {bulk} and its source on {source}, but discrete MOSFETs join them"
        values.problems.error(line, f"{message}; put the bulk on {source}")
        return None
    sign = 1 if element.model.kind == "NMOS" else -1
    threshold = sign * law["VTO"]
    if threshold <= 0:
        message = f"{name} conducts without gate voltage (VTO {law['VTO']:g}), which no part here does"
        values.problems.error(line, f"{message}; give the VTO of an enhancement type")
        return None
    found = {
        "threshold": bench(threshold),
        "transconductance": bench(law["KP"] * ratio),
        "body_volts": bench(round(junction_volts(BODY_AMPS, law["IS"]), 6)),
        "gate_limit": bench(GATE_LIMIT),
    }
    return Described(element.model.kind.lower(), (gate, drain, source), found, tuple(values.remarks))


def _is_ground(node: str) -> bool:
    return node.lower() in GROUND_NODES


_DESCRIBERS: Mapping[str, Callable[[Values], Described | None]] = {
    "R": _passive("resistor", "ohms", ("TC", "TC1", "TC2", "TEMP"), {}),
    "C": _passive("capacitor", "farads", ("IC", "TC1", "TC2"), {}),
    "L": _passive("inductor", "henries", ("IC",), {"ohms": bench(COIL_OHMS)}),
    "D": _diode,
    "Q": _bipolar,
    "M": _mosfet,
    "V": _voltage,
    "I": _current,
}
