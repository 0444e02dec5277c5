"""Readings beside the chain, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.tables import WARNING, heading, indented, quiet, stack, table, volts

Fields = Mapping[str, Any]


def measured_text(fields: Fields) -> list[RenderableType]:
    """Return what the readings say about the chain: agreement, what follows, where the break is, what to heed."""
    rows = [
        (mark["place"], volts(mark["volts"]), volts(mark["expected"]), _verdict(mark)) for mark in fields["readings"]
    ]
    items: list[RenderableType] = [heading("readings, from the node backwards")]
    if rows:
        items.append(indented(table(("place", "read", "healthy", ""), rows, right=(1, 2))))
    if fields["unused"]:
        items.append(quiet(f"Not used here (another state, or no voltage to ground): {', '.join(fields['unused'])}."))
    items += [Text(_break(each), style=WARNING) for each in fields["breaks"]]
    if not fields["breaks"]:
        items.append(Text(_no_break(fields)))
    items += ["", heading("before you probe"), *(indented(quiet(text)) for text in fields["cautions"])]
    return [stack(*items)]


def _verdict(mark: Fields) -> str:
    if mark["agrees"]:
        return "as it should be"
    if mark["follows"] is None:
        return "wrong; nothing that it hangs on was read"
    if not mark["behind"]:
        return "wrong, and hangs on nothing that could be read"
    behind = ", ".join(mark["behind"])
    if mark["follows"]:
        return f"wrong, and follows from {behind}"
    return f"wrong, and does not follow from {behind}, which would make it {volts(mark['predicted'])}"


def _break(each: Fields) -> str:
    if not each["behind"]:
        instead = f"{volts(each['volts'])} instead of {volts(each['expected'])}"
        return f"The break is at {each['place']}, which reads {instead}. There lie: {', '.join(each['between'])}."
    return (
        f"The break is between {' and '.join(each['behind'])} and {each['place']}, which reads {volts(each['volts'])} "
        f"instead of {volts(each['expected'])}. There lie: {', '.join(each['between'])}."
    )


def _no_break(fields: Fields) -> str:
    if all(mark["agrees"] for mark in fields["readings"]):
        return "Every reading is as on a healthy board."
    if fields["ask"]:
        return f"The readings do not reach the break yet: measure {' and '.join(fields['ask'])}."
    return "Every wrong reading follows from another one: measure at the last of them what it hangs on."
