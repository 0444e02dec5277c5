"""Where the tips of a meter go."""

from __future__ import annotations

from collections.abc import Iterable

from seqsim.circuit import Circuit, PlaceKind, resolve_place
from seqsim.errors import ReadingError, UnknownPlaceError


def match(text: str, names: Iterable[str]) -> str | None:
    """Return the name that is written like this, or the only one that differs in case alone."""
    listed = list(names)
    if text in listed:
        return text
    folded = [name for name in listed if name.casefold() == text.casefold()]
    return folded[0] if len(folded) == 1 else None


def copper_at(circuit: Circuit, text: str) -> str | None:
    """Return the name of the copper that a text means, None if it means anything else."""
    try:
        place = resolve_place(circuit, text)
    except UnknownPlaceError:
        return None
    return place.name if place.kind is PlaceKind.COPPER else None


def tip(circuit: Circuit, text: str) -> str:
    """Return the net, pin or pad at which a tip is put; the name of a supply stands for its net.

    Raises
    ------
    UnknownPlaceError
        If there is no such place; the message names close matches.
    ReadingError
        If the text names copper, which has two ends for a tip.
    """
    place = resolve_place(circuit, text)
    if place.kind is PlaceKind.COPPER:
        first, second = place.points
        message = f"'{text}' is copper between {first} and {second}, and a tip goes to one of them"
        raise ReadingError(message, place=text, expected=first)
    return place.net if place.kind is PlaceKind.SUPPLY else place.name
