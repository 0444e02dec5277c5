"""Ends of contacts, names of nets and pins, and lone values, as they are written in notes."""

from __future__ import annotations

import re

from seqsim.circuit.names import name_fault
from seqsim.circuit.notes_words import LONG_PINS, PRIMARY, is_ground, letters_of
from seqsim.errors import CircuitError, QuantityError
from seqsim.network import GROUND
from seqsim.parts import UNKNOWN
from seqsim.quantity import Unit, parse_quantity

_JOINED_PIN = re.compile(r"([A-Za-z]+\d+[A-Za-z]?)[-:/](\w+)")


def pin_name(text: str) -> str:
    """Return a pin as it is kept: upper case, `BASE` as `B`."""
    upper = text.upper()
    return LONG_PINS.get(upper, upper)


def net_name(text: str) -> str:
    """Return a net's name, ground by its own.

    Raises
    ------
    CircuitError
        If it cannot be a name.
    """
    name = GROUND if is_ground(text) else text
    fault = name_fault(name)
    if fault is not None or "=" in name:
        raise CircuitError(fault or f"'{text}' is no name; put spaces around a lone =", got=text)
    return name


def end_of(text: str) -> str:
    """Return an end of a contact: `PART.PIN`, or the name of a net.

    Raises
    ------
    CircuitError
        If it is neither.
    """
    text = text.strip(",;")
    joined = _JOINED_PIN.fullmatch(text)
    if joined is not None and letters_of(joined[1]) is not None:
        text = f"{joined[1]}.{joined[2]}"
    part, dot, pin = text.partition(".")
    if not dot:
        if letters_of(text) is not None:
            message = f"{text.upper()} is a part; name one of its pins, like {text.upper()}.1"
            raise CircuitError(message, place=text.upper(), got=text)
        return net_name(text)
    for piece in (part, pin):
        fault = name_fault(piece)
        if fault is not None:
            raise CircuitError(f"'{text}' is no pin; write it like R12.2", got=text)
    return f"{part.upper()}.{pin_name(pin)}"


def volts_of(text: str) -> float | None:
    """Return the volts that a word says; None if it says none."""
    try:
        return parse_quantity(text, Unit.VOLT)
    except QuantityError:
        return None


def supply_value(word: str, bare: str = "volts") -> str | None:
    """Return which value of a supply a word gives, by its unit; ``bare`` is that of a number without one."""
    text = word.rstrip("?")
    if word == UNKNOWN:
        return "volts"
    if re.fullmatch(r"[+-]?[\d.]+[pnumkMG]?|\d+[kM]\d+", text):
        return bare
    for key, unit in (("volts", Unit.VOLT), ("ohms", Unit.OHM), ("amps", Unit.AMPERE), ("spread", Unit.SHARE)):
        try:
            parse_quantity(text, unit)
        except QuantityError:
            continue
        return key
    return None


def primary(kind: str, value: str) -> str | None:
    """Return the key of the value that stands by itself in a line; None if this kind has none."""
    if kind == "load":
        try:
            parse_quantity(value, Unit.OHM)
        except QuantityError:
            return "amps"
    found = PRIMARY.get(kind)
    return None if found is None else found[0]
