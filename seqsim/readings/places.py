"""Where the tips of a meter go."""

from __future__ import annotations

from collections.abc import Iterable

from seqsim.circuit.model import Circuit
from seqsim.circuit.names import suggest
from seqsim.errors import ReadingError, UnknownPlaceError

PAD = "/pad"


def match(text: str, names: Iterable[str]) -> str | None:
    """Return the name that is written like this, or the only one that differs in case alone."""
    listed = list(names)
    if text in listed:
        return text
    folded = [name for name in listed if name.casefold() == text.casefold()]
    return folded[0] if len(folded) == 1 else None


def tip(circuit: Circuit, text: str) -> str:
    """Return the net, pin or pad at which a tip is put; the name of a supply stands for its net.

    Raises
    ------
    UnknownPlaceError
        If there is no such place; the message names close matches.
    ReadingError
        If the name is that of a part or of copper, which has more than one place for a tip.
    """
    pins = [name for name in circuit.pins() if ":" not in name]
    nets = list(circuit.nets())
    for names in (nets, pins):
        found = match(text, names)
        if found is not None:
            return found
    if text.casefold().endswith(PAD):
        found = match(text[: -len(PAD)], pins)
        if found is not None:
            return found + PAD
    supply = match(text, circuit.supplies)
    if supply is not None:
        return circuit.supplies[supply].net
    part = match(text, circuit.parts)
    if part is not None:
        first = next(iter(circuit.parts[part].pins))
        message = f"'{text}' is a part, and a tip goes to one of its pins"
        raise ReadingError(message, place=text, expected=f"{part}.{first}")
    copper = match(text, circuit.copper)
    if copper is not None:
        first, second = circuit.copper[copper].touch
        message = f"'{text}' is copper between {first} and {second}, and a tip goes to one of them"
        raise ReadingError(message, place=text, expected=first)
    hint = suggest(text, [*nets, *pins, *circuit.copper, *circuit.supplies])
    raise UnknownPlaceError(f"there is no net, pin or copper called '{text}'{hint}", place=text)
