"""The list of faults in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import count, heading, indented, quiet, stack, table


def faults_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return what `faults` shows, from its documented fields: the likeliest first, sources as notes below."""
    faults = sorted(fields["faults"], key=lambda fault: -fault["prior"])
    notes: dict[tuple[str, str], int] = {}
    rows = []
    for fault in faults:
        note = notes.setdefault((fault["source"], fault["standing"]), len(notes) + 1)
        rows.append((fault["fault"], f"{fault['prior'] * 100:.2f} %", f"[{note}]"))
    legend = [(f"[{number}]", source, standing) for (source, standing), number in notes.items()]
    return stack(
        heading(f"{fields['circuit']}: {count(len(faults), 'single fault')}, before any reading"),
        indented(table(("fault", "share", "source"), rows, right=(1,))),
        heading("where the shares come from, and how far they can be trusted"),
        indented(table(("", "", ""), legend)),
        quiet("Shares add up to 100 %; they order what to suspect and are no failure rates of your board."),
    )
