"""The levels of a board in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import heading, indented, quiet, stack, table, volts

CONDITIONS = {
    "steady": "settles",
    "oscillates": "oscillates: volts are averages over the cycle, to be taken broadly",
    "several_states": "has several stable states: the one that a power-up comes to stands first",
}
PULSES = "pulses, it starts and collapses again and again: volts are averages, to be taken broadly"
NODES = {
    "driven": "",
    "floating": "floats: nothing drives it, a meter pulls it to its own level",
    "undefined": "undefined: an input near its threshold decides it",
    "contended": "contended: two drivers work against each other",
}


def levels_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return what `levels` shows, from its documented fields."""
    faults = fields["faults"]
    board = "healthy" if not faults else "with " + " and ".join(faults)
    does = PULSES if fields["pulsing"] else CONDITIONS[fields["condition"]]
    items: list[RenderableType] = [heading(f"{fields['circuit']}, {board}, state {fields['state']}: {does}")]
    if fields["loop"]:
        items.append(quiet(f"what switches: {', '.join(fields['loop'])}"))
    items.append(_nodes(fields["nodes"]))
    for k, other in enumerate(fields["other_states"], start=2):
        what = "it may also pulse, then on average" if other["pulsing"] else f"stable state {k}"
        items += [heading(f"{what}, where it differs"), _others(fields["nodes"], other["nodes"])]
    spread = "low and high: 5 % of boards lie below, 5 % above, by the spread of healthy parts."
    items.append(quiet("low and high: between these it swings." if fields["condition"] == "oscillates" else spread))
    return stack(*items)


def _nodes(nodes: Mapping[str, Mapping[str, Any]]) -> RenderableType:
    rows = [
        (name, volts(node["volts"]), volts(node["low"]), volts(node["high"]), NODES[node["condition"]])
        for name, node in nodes.items()
    ]
    return indented(table(("net", "volts", "low", "high", ""), rows, right=(1, 2, 3)))


def _others(nodes: Mapping[str, Mapping[str, Any]], other: Mapping[str, Mapping[str, Any]]) -> RenderableType:
    rows = [
        (name, volts(node["volts"]))
        for name, node in other.items()
        if name not in nodes or abs(node["volts"] - nodes[name]["volts"]) > 0.01
    ]
    return indented(table(("net", "volts"), rows, right=(1,)))
