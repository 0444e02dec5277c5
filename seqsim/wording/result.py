"""What all results have in common: fields for programs, and a text for people made from the same fields."""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import RenderableType

SCHEMA = 1
"""Version of the documented fields; it rises when a field changes its meaning or goes away."""

PERCENTILE_95 = 1.6449
"""95th percentile of a normal distribution, in standard deviations: `low` and `high` are the 5th and the 95th."""

WIDTH = 110
"""Columns of a result that is printed where no terminal tells its width."""


class Result(ABC):
    """An answer: plain data that prints well.

    ``to_dict`` gives the documented fields (snake_case, SI units, nothing but what JSON can hold); the text is made
    from these fields, so that whoever reads either knows the same.
    """

    __slots__ = ()

    @abstractmethod
    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""

    @abstractmethod
    def renderable(self) -> RenderableType:
        """Return what is shown to people."""

    def to_json(self) -> str:
        """Return the documented fields as JSON."""
        return to_json(self.to_dict())

    def __str__(self) -> str:
        return to_text(self.renderable())


def to_json(fields: dict[str, Any], *, ascii_only: bool = False) -> str:
    """Return fields as JSON; a number that is not finite is a fault of ours and is refused."""
    return json.dumps(fields, ensure_ascii=ascii_only, allow_nan=False, indent=2)


def to_text(renderable: RenderableType, width: int = WIDTH) -> str:
    """Return a renderable as plain text without colours and without spaces at the ends of lines."""
    from io import StringIO

    from rich.console import Console

    buffer = StringIO()
    console = Console(
        file=buffer, width=width, color_system=None, force_terminal=False, markup=False, emoji=False, highlight=False
    )
    console.print(renderable)
    return "\n".join(line.rstrip() for line in buffer.getvalue().rstrip().splitlines())
