"""Which names are allowed, and which known name an unknown one may have meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

LONGEST_WORD = 120
FORBIDDEN = " .:@/,'\""


def one_line(message: str) -> str:
    """Return a message as one printable line in which no word that a file gave is endless."""
    words = (word if len(word) <= LONGEST_WORD else f"{word[:40]}..." for word in message.split())
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(words))


def name_fault(name: str) -> str | None:
    """Say why a text cannot be the name of a net, part, supply, state or copper; None if it can."""
    if not name:
        return "a name is empty; write one"
    if name == "?":
        return "'?' stands for an unknown value and cannot be a name; write a name"
    if len(name) > 100:
        return f"the name '{name[:20]}...' is longer than 100 characters; shorten it"
    for sign in name:
        if sign.isspace() or sign in FORBIDDEN:
            shown = "a space" if sign.isspace() else f"'{sign}'"
            return f"the name '{name}' has {shown}, which names cannot have; write _ or - instead"
        if not sign.isprintable():
            return f"the name {name!a} has a character that cannot be printed; remove it"
    return None


def close(name: str, known: Iterable[str], count: int = 3) -> list[str]:
    """Return the known names that are most like this one, best first."""
    by_lower: dict[str, list[str]] = {}
    for item in known:
        by_lower.setdefault(item.lower(), []).append(item)
    found = get_close_matches(name.lower(), by_lower, n=count, cutoff=0.6)
    return [item for lower in found for item in by_lower[lower]][:count]


def suggest(name: str, known: Iterable[str]) -> str:
    """Return the tail of a sentence that names close matches, else what there is (a few), else nothing."""
    all_known = list(dict.fromkeys(known))
    found = close(name, all_known)
    if found:
        return f"; did you mean {' or '.join(found)}?"
    if not all_known:
        return ""
    shown = ", ".join(all_known[:12])
    return f"; known are {shown}{' and others' if len(all_known) > 12 else ''}"
