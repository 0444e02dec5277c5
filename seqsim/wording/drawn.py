"""What was drawn, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import quiet, stack, table

CENTIMETRES = 2.54


def drawn_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return the files that `draw` wrote, from its documented fields."""
    rows = [
        (
            picture["file"],
            f"{picture['width_inches'] * CENTIMETRES:.0f} x {picture['height_inches'] * CENTIMETRES:.0f} cm",
            picture["title"],
        )
        for picture in fields["pictures"]
    ]
    items: list[RenderableType] = [table(("", "", ""), rows)]
    if fields["page"] is not None:
        items.append(quiet(f"all of them on one page: {fields['page']}"))
    return stack(*items)
