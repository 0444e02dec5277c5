"""The list of faults in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.history import history_text
from seqsim.wording.tables import Notes, count, heading, indented, quiet, stack, table


def faults_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return what `faults` shows, from its documented fields: the likeliest first, sources as notes below."""
    faults = sorted(fields["faults"], key=lambda fault: -fault["prior"])
    notes = Notes()
    rows = [(fault["fault"], f"{fault['prior'] * 100:.2f} %", notes.number(fault)) for fault in faults]
    return stack(
        heading(f"{fields['circuit']}: {count(len(faults), 'single fault')}, before any reading"),
        indented(table(("fault", "share", ""), rows, right=(1,))),
        heading("where the shares come from"),
        indented(notes.legend()),
        *history_text(fields["history"]),
        quiet("Shares add up to 100 %; they order what to suspect and are no failure rates of your board."),
    )
