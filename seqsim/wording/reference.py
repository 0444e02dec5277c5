"""Where a known-good board contradicts the drawing, in words, before anything is ranked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.tables import WARNING, count, heading, indented, quantity, quiet


def reference_text(reference: Sequence[Mapping[str, Any]]) -> list[RenderableType]:
    """Return what the readings of a good board say of the drawing, from their documented fields."""
    if not reference:
        return []
    odd = [each for each in reference if each["verdict"] != "as_healthy"]
    if not odd:
        good = sum(each["origin"] == "good board" for each in reference)
        told = [count(good, "reading") + " of the known-good board"] if good else []
        if len(reference) > good:
            told.append(f"{count(len(reference) - good, 'resistance')} of rails known from experience")
        verb = "agrees" if len(reference) == 1 else "agree"
        narrow = "narrows" if len(reference) == 1 else "narrow"
        return [quiet(f"{' and '.join(told)} {verb} with the drawing and {narrow} its spreads"), ""]
    lines = [Text(_sentence(each), style=WARNING) for each in odd]
    return [
        heading("the drawing contradicts what good boards read: correct the file before you believe the ranking"),
        *(indented(line) for line in lines), "",
    ]  # fmt: skip


def _sentence(each: Mapping[str, Any]) -> str:
    place = f"{each['place']} to {each['to']}" if each.get("to") else each["place"]
    expected = "something else"
    if each["healthy_low"] is not None and each["healthy_high"] is not None:
        expected = quantity([each["healthy_low"], each["healthy_high"]], each["unit"])
    read = quantity(each["value"], each["unit"])
    if each["origin"] == "experience":
        return f"{place} @{each['state']}: the parts in your file give {expected}; its `rails:` know {read} there"
    return f"{place} @{each['state']}: your file says {expected}; the good board reads {read} there"
