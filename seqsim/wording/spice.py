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


def spice_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return what `spice` shows, from its documented fields."""
    faults = fields["faults"]
    board = "healthy" if not faults else "with " + " and ".join(faults)
    items: list[RenderableType] = [
        heading(f"{fields['circuit']}, {board}, state {fields['state']}: {STATES[fields['spice_state']]}")
    ]
    if fields["spice_state"] == "failed":
        items.append(indented(quiet(f"{fields['reason']}.")))
    if fields["switch_level_state"] != "steady":
        items.append(indented(quiet(f"The switch level {fields['switch_level_state']}; its volts are averages.")))
    items.append(_nodes(fields["nodes"], fields["metastable_point"]))
    if fields["metastable_point"]:
        items.append(quiet("metastable: where SPICE parked; a kick of 10 mV led it to what stands under SPICE."))
    worst = fields["worst"]
    if worst is not None:
        difference = fields["nodes"][worst]["difference"]
        why = f"; {fields['cause']}" if fields["cause"] else ""
        items.append(quiet(f"Largest difference: {worst}, {1000 * difference:+.1f} mV{why}."))
    return stack(*items)


def _nodes(nodes: Mapping[str, Mapping[str, Any]], parked: Mapping[str, float]) -> RenderableType:
    rows = []
    for name, node in nodes.items():
        difference = node["difference"]
        row = [
            name,
            volts(node["switch_level"]),
            "-" if node["spice"] is None else volts(node["spice"]),
            "" if difference is None else f"{1000 * difference:+.1f} mV",
        ]
        rows.append((*row, volts(parked[name])) if parked else tuple(row))
    headings = ("net", "switch level", "SPICE", "difference") + (("metastable",) if parked else ())
    return indented(table(headings, rows, right=tuple(range(1, len(headings)))))
