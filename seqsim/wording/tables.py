"""Building blocks of the texts: tables, headings, numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from seqsim.quantity import Unit, format_quantity

HEADING = "bold"
QUIET = "dim"
WARNING = "yellow"

NARROW, FOLDED, WIDEST = 64, 3, 1000
"""Columns of a screen below which a table of so many columns that does not fit is told row by row; and more columns
than any table has."""


def heading(text: str) -> Text:
    """Return a heading."""
    return Text(text, style=HEADING)


def quiet(text: str) -> Text:
    """Return a text that stands back."""
    return Text(text, style=QUIET)


def stack(*items: RenderableType) -> Group:
    """Return items below each other."""
    return Group(*items)


def indented(item: RenderableType, columns: int = 2) -> Padding:
    """Return an item moved to the right."""
    return Padding(item, (0, 0, 0, columns))


class Rows(Table):
    """A table that becomes a paragraph a row where a narrow screen (a phone) would fold its cells to splinters."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the table, or its rows."""
        wanted = self.__rich_measure__(console, options.update_width(WIDEST)).maximum
        if len(self.columns) < FOLDED or options.max_width >= NARROW or wanted <= options.max_width:
            yield from super().__rich_console__(console, options)
            return
        heads = [str(column.header) for column in self.columns]
        for row in zip(*(column.cells for column in self.columns), strict=True):
            cells = [cell if isinstance(cell, Text) else Text(str(cell)) for cell in row]
            told = [
                Text.assemble(f"{head} ", cell) if head and k else cell
                for k, (head, cell) in enumerate(zip(heads, cells, strict=True))
                if cell.plain
            ]
            for k, line in enumerate(Text("  ").join(told).wrap(console, options.max_width - 2)):
                yield Text.assemble("  ", line) if k else line


def table(columns: Sequence[str], rows: Sequence[Sequence[str | Text]], *, right: Sequence[int] = ()) -> Table:
    """Return a table without lines; names are folded rather than cut.

    ``right`` lists the columns that are aligned on the right. An empty heading has a column without one.
    """
    shown = Rows(box=None, show_header=any(columns), pad_edge=False, padding=(0, 2, 0, 0), header_style=HEADING)
    for k, name in enumerate(columns):
        shown.add_column(Text(name), justify="right" if k in right else "left", overflow="fold")
    for row in rows:
        shown.add_row(*(cell if isinstance(cell, Text) else Text(cell) for cell in row))
    return shown


def listing(pairs: Sequence[tuple[str, str | Text]]) -> Table:
    """Return labels with their texts, each text a block of its own beside its label."""
    return table(("", ""), [(quiet(label), text) for label, text in pairs])


def percent(probability: float) -> str:
    """Return a probability in words that promise no more than is known: two digits, never 0 % or 100 %."""
    if probability > 0.995:
        return "> 99 %"
    if probability < 0.001:
        return "< 0.1 %"
    return f"{probability * 100:.2g} %"


def volts(value: float | None) -> str:
    """Return a voltage with the digits that a bench meter shows."""
    if value is None:
        return "?"
    if abs(value) < 0.0005:
        return "0 V"
    if abs(value) < 0.1:
        return f"{value * 1000:.1f} mV"
    return f"{value:.3f} V" if abs(value) < 10 else f"{value:.2f} V"


def quantity(value: Any, unit: str) -> str:
    """Return a read or predicted value: a number with its unit, a range, or the word that the meter showed."""
    if isinstance(value, str):
        return value
    if value is None:
        return "?"
    if isinstance(value, list | tuple):
        low, high = value
        return f"{quantity(low, unit)} to {quantity(high, unit)}"
    try:
        known = Unit(unit)
    except ValueError:
        return f"{value:.4g} {unit}".strip()
    return volts(value) if known is Unit.VOLT else format_quantity(value, known)


def count(number: int, one: str, many: str | None = None) -> str:
    """Return a number with its noun."""
    return f"{number} {one if number == 1 else many or one + 's'}"


class Notes:
    """Sources that many figures share, numbered in the order in which they are met."""

    def __init__(self) -> None:
        self._numbers: dict[tuple[str, str], int] = {}

    def number(self, figure: Mapping[str, Any]) -> str:
        """Return the mark of a figure's source, nothing if it has none."""
        if figure["source"] is None:
            return ""
        return f"[{self._numbers.setdefault((figure['source'], figure['standing']), len(self._numbers) + 1)}]"

    def legend(self) -> Table:
        """Return each mark with its source, and how far that can be trusted unless the source says so."""
        rows = [
            (f"[{number}]", source if standing.split()[-1] in source else f"{source} ({standing})")
            for (source, standing), number in self._numbers.items()
        ]
        return table(("", ""), rows)
