"""What a board's history tilts, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import heading, indented, quiet, table

WORDS = {
    "several": "how often faults meet",
    "misfit": "a part fitted wrongly, otherwise left out",
    "part": "a part that failed",
    "joint": "an open joint",
    "copper": "a broken track or via",
    "short": "a shorted net",
    "leak": "a leaking net",
    "bridge": "bridged pins",
    "missing": "a missing part",
    "all shorted": "a part shorted as a whole",
    "supply": "a supply or signal",
}
"""Kinds of faults in words; a place or a fault stands for itself."""


def history_text(history: Sequence[Mapping[str, Any]]) -> list[RenderableType]:
    """Return the factors that a history puts on priors, from its documented fields; nothing without any."""
    if not history:
        return []
    rows = []
    for tilt in history:
        at = f" at {', '.join(tilt['places'])}" if tilt["places"] else ""
        what = WORDS.get(tilt["key"], tilt["key"]) + at
        rows.append((tilt["said"], what, f"x{tilt['factor']:.3g}"))
    return [
        heading("tilted by the board's history"),
        indented(table(("said", "what is suspected more or less", "factor"), rows, right=(2,))),
        quiet("The factors are judgement; add one of your own with --history, like 'leak x3' or 'leak x0.3'."),
    ]
