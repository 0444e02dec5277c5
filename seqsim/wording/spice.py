"""SPICE beside the switch level in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import heading, indented, quiet, stack, table, volts

STATES = {
    "stable": "SPICE settles",
    "metastable": "SPICE parked on an unstable point",
    "failed": "SPICE found no steady point",
}

SHOWN = 6
"""Nets that are named for one cause."""


def spice_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return what `spice` shows, from its documented fields."""
    faults = fields["faults"]
    board = "healthy" if not faults else "with " + " and ".join(faults)
    items: list[RenderableType] = [
        heading(f"{fields['circuit']}, {board}, state {fields['state']}: {STATES[fields['spice_state']]}")
    ]
    if fields["spice_state"] == "failed":
        items.append(indented(quiet(f"{fields['reason']}.")))
    elif fields["spice_state"] == "stable" and fields["reason"]:
        items.append(indented(quiet("Whether it comes back from a small kick could not be tried.")))
    if fields["switch_level_state"] != "steady":
        items.append(indented(quiet(f"The switch level {fields['switch_level_state']}; its volts are averages.")))
    items.append(_nodes(fields["nodes"], fields["metastable_point"]))
    if fields["metastable_point"]:
        items.append(quiet("metastable: where SPICE parked; a kick of 10 mV led it to what stands under SPICE."))
    worst = fields["worst"]
    if worst is not None:
        items.append(quiet(f"Largest difference: {worst}, {_millivolts(fields['nodes'][worst]['difference'])}."))
    items += [quiet(line) for line in _causes(fields["nodes"])]
    return stack(*items)


def _causes(nodes: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Return a line for each cause: the nets that it explains, the farthest first."""
    groups: dict[str, list[str]] = {}
    for name in sorted(nodes, key=lambda name: -abs(nodes[name]["difference"] or 0.0)):
        if nodes[name]["cause"]:
            groups.setdefault(nodes[name]["cause"], []).append(name)
    return [
        f"{', '.join(names[:SHOWN])}{f' and {len(names) - SHOWN} more' if len(names) > SHOWN else ''}: {cause}."
        for cause, names in groups.items()
    ]


def _millivolts(difference: float) -> str:
    told = f"{1000 * difference:+.1f} mV"
    return "0 mV" if told[1:] == "0.0 mV" else told


def _nodes(nodes: Mapping[str, Mapping[str, Any]], parked: Mapping[str, float]) -> RenderableType:
    rows = []
    for name, node in nodes.items():
        difference = node["difference"]
        row = [
            name,
            volts(node["switch_level"]),
            "-" if node["spice"] is None else volts(node["spice"]),
            "" if difference is None else _millivolts(difference),
        ]
        rows.append((*row, volts(parked[name])) if parked else tuple(row))
    headings = ("net", "switch level", "SPICE", "difference") + (("metastable",) if parked else ())
    return indented(table(headings, rows, right=tuple(range(1, len(headings)))))
