"""Quantities as they are written on the bench: ``10k``, ``4k7``, ``100n``, ``0R``, ``3.3V``, ``20 ms``, ``1%``."""

from __future__ import annotations

import re
from enum import Enum

from seqsim.errors import QuantityError


class Unit(Enum):
    """The units that values have; the value is the symbol that is printed."""

    OHM = "Ω"
    VOLT = "V"
    AMPERE = "A"
    WATT = "W"
    FARAD = "F"
    HENRY = "H"
    SECOND = "s"
    SIEMENS = "S"
    AMPERE_PER_VOLT_SQUARED = "A/V²"
    SHARE = "%"
    NUMBER = ""
    OF_GOOD = "x of good"


_WORDS = {
    Unit.OHM: ("Ω", "Ω", "R", "r", "ohms", "ohm", "Ohm", "Ohms"),
    Unit.VOLT: ("V", "v", "volts", "volt"),
    Unit.AMPERE: ("A", "amps", "amp"),
    Unit.WATT: ("W",),
    Unit.FARAD: ("F",),
    Unit.HENRY: ("H",),
    Unit.SECOND: ("s", "sec"),
    Unit.SIEMENS: ("S",),
    Unit.AMPERE_PER_VOLT_SQUARED: ("A/V²", "A/V2"),
    Unit.SHARE: ("%",),
    Unit.NUMBER: (),
    Unit.OF_GOOD: ("x of good",),
}
_PREFIX = {
    "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "": 1.0,
    "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9,
}  # fmt: skip
_SHOWN = (("G", 1e9), ("M", 1e6), ("k", 1e3), ("", 1.0), ("m", 1e-3), ("µ", 1e-6), ("n", 1e-9))
ROUNDS_UP = 0.9995
"""Share of a prefix from which three digits round to it."""
_NUMBER = re.compile(r"([+-]?)(\d+(?:\.\d*)?|\.\d+)(?:[eE]([+-]?\d+))?")
_SPLIT = re.compile(r"([+-]?\d+)([pnuµμmkKMGRrVΩ])(\d+)")


def parse_quantity(text: str, unit: Unit) -> float:
    """Return the value of a bench quantity in SI units; a share in percent comes back as a fraction.

    Raises
    ------
    QuantityError
        If the text is no number, or carries another unit than the one that is wanted.
    """
    stripped = text.strip().replace("\N{MINUS SIGN}", "-")
    for word in sorted(_WORDS[unit], key=len, reverse=True):
        if len(word) > 1 and stripped.endswith(word) and stripped[: -len(word)].strip():
            stripped = stripped[: -len(word)].strip()
            break
    split = _SPLIT.fullmatch(stripped)
    if split and (split[2] in _PREFIX or split[2] in _WORDS[unit]):
        scale = _PREFIX.get(split[2], 1.0)
        return _finite(float(f"{split[1]}.{split[3]}") * scale, text, unit)
    match = _NUMBER.match(stripped)
    if match is None:
        raise _wrong(text, unit)
    number = float(match[0])
    suffix = stripped[match.end() :].strip()
    if unit is Unit.SHARE:
        if suffix not in ("", "%"):
            raise _wrong(text, unit)
        return _finite(number / 100 if suffix else number, text, unit)
    factor = _suffix_scale(suffix, unit)
    if factor is None:
        raise _wrong(text, unit)
    return _finite(number * factor, text, unit)


def _suffix_scale(suffix: str, unit: Unit) -> float | None:
    """Return the factor that a suffix stands for, or None if it has no meaning for this unit."""
    if suffix in _PREFIX:
        return _PREFIX[suffix]
    for word in _WORDS[unit]:
        if suffix.endswith(word) and suffix[: -len(word)].strip() in _PREFIX:
            return _PREFIX[suffix[: -len(word)].strip()]
    return None


def _finite(value: float, text: str, unit: Unit) -> float:
    if value in (float("inf"), float("-inf")):
        raise _wrong(text, unit)
    return value


def _wrong(text: str, unit: Unit) -> QuantityError:
    examples = {
        Unit.OHM: "10k, 4k7 or 0R", Unit.VOLT: "3.3V or 602mV", Unit.AMPERE: "0.35A or 2mA", Unit.WATT: "0.25W",
        Unit.FARAD: "100n", Unit.HENRY: "10u", Unit.SECOND: "20 ms", Unit.SIEMENS: "1m", Unit.SHARE: "1%",
        Unit.AMPERE_PER_VOLT_SQUARED: "0.5", Unit.NUMBER: "100", Unit.OF_GOOD: "0.4x of good",
    }  # fmt: skip
    name = "a share" if unit is Unit.SHARE else "a number" if unit is Unit.NUMBER else f"a value in {unit.value}"
    return QuantityError(f"'{text}' is not {name}; write it like {examples[unit]}", expected=unit.value, got=text)


def format_quantity(value: float, unit: Unit, digits: int = 3) -> str:
    """Return a quantity as the bench writes it, with a prefix: ``4.70 kΩ`` is ``4.7 kΩ``."""
    if unit is Unit.SHARE:
        return f"{value * 100:.{digits}g} %"
    if unit in (Unit.NUMBER, Unit.OF_GOOD):
        return f"{value:.{digits}g}{unit.value}"
    if value == 0:
        return f"0 {unit.value}"
    prefix, scale = next((known for known in _SHOWN if abs(value) >= known[1] * ROUNDS_UP), ("p", 1e-12))
    shown = f"{value / scale:.{digits}g}"
    return f"{shown} {prefix}{unit.value}"
