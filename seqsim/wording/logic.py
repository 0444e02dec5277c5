"""A node as a function, in words and as a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.tables import WARNING, heading, indented, quiet, stack, table, volts

Fields = Mapping[str, Any]

LEVELS = {
    "high": "high",
    "low": "low",
    "floating": "floating: nothing drives it",
    "undefined": "undefined: between low and high, or decided by an input that floats or stands at its threshold",
    "remembers": "remembers: which of two levels depends on what was before",
    "oscillates": "oscillates; volts are an average",
}
KINDS = {"supply": ("off", "on"), "signal": ("0", "1"), "switch": ("open", "closed")}
MOST_ROWS = 64
"""Rows of a table that people are shown."""


def logic_text(fields: Fields) -> RenderableType:
    """Return what `logic` shows, from its documented fields."""
    board = "healthy" if not fields["faults"] else "with " + " and ".join(fields["faults"])
    items: list[RenderableType] = [
        heading(f"{fields['circuit']}, {board}: {fields['node']} as a function of what comes from outside"),
        Text.assemble((f"{fields['node']} = {fields['expression']}", "bold")),
    ]
    if fields["healthy"] is not None:
        items += _fault(fields)
    if fields["left_out"]:
        items.append(quiet(f"Held as in state {fields['state']}: {', '.join(fields['left_out'])}."))
    items += ["", *_table(fields), "", *_stages(fields)]
    return stack(*items)


def _fault(fields: Fields) -> list[RenderableType]:
    healthy = fields["healthy"]["expression"]
    count = len(fields["differs"])
    if not count:
        return [f"The fault changes it in no row: {fields['node']} = {healthy} on a healthy board, too."]
    return [
        f"healthy: {fields['node']} = {healthy}",
        Text(f"The fault changes {count} of {len(fields['rows'])} rows, marked in the table.", style=WARNING),
    ]


def _table(fields: Fields) -> list[RenderableType]:
    names = [each["name"] for each in fields["inputs"]]
    kinds = {each["name"]: KINDS[each["kind"]] for each in fields["inputs"]}
    before = fields["healthy_rows"]
    shown = list(enumerate(fields["rows"]))
    differing = [item for item in shown if item[0] in fields["differs"]]
    if len(shown) > MOST_ROWS:
        shown = differing[:MOST_ROWS] or shown[:MOST_ROWS]
    rows = []
    for k, row in shown:
        cells = [kinds[name][row["inputs"][name]] for name in names]
        other = "" if row["other_volts"] is None else f" or {volts(row['other_volts'])}"
        mark = f"healthy: {before[k]['level']}, {volts(before[k]['volts'])}" if k in fields["differs"] else ""
        rows.append((*cells, f"{volts(row['volts'])}{other}", row["level"], mark))
    last = len(names)
    head = (*names, fields["node"], "", "")
    items: list[RenderableType] = [indented(table(head, rows, right=(last,)))]
    if len(rows) < len(fields["rows"]):
        items.append(quiet(f"{len(rows)} of {len(fields['rows'])} rows; --json has them all."))
    odd = dict.fromkeys(row["level"] for row in fields["rows"] if row["level"] not in ("high", "low"))
    items += [quiet(LEVELS[level][:1].upper() + LEVELS[level][1:] + ".") for level in odd]
    if odd:
        items.append(quiet("Rows that are neither high nor low leave the expression free to be short."))
    return items


def _stages(fields: Fields) -> list[RenderableType]:
    rows = []
    for stage in fields["stages"]:
        sense = {True: "inverting", False: "not inverting", None: ""}[stage["inverting"]]
        function = stage["expression"] or f"of {', '.join(stage['looks_at'])}: too many to try"
        needs = f"needs {', '.join(stage['needs'])}" if stage["needs"] else ""
        rows.append((stage["node"], f"= {function}", ", ".join(stage["devices"]), sense, needs))
    return [heading("stage by stage"), indented(table(("", "", "by", "", ""), rows))]
