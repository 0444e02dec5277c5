"""What a picture consists of: lines, areas, discs and texts in units of its own, and the boxes that may not overlap.

One unit is the length of a resistor's body. The axis y points up.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from seqsim.drawing.metrics import text_width

Point = tuple[float, float]

NAME, SMALL, TITLE = 0.30, 0.25, 0.42
"""Sizes of text: names; values and levels; the heading of a picture."""
THIN, PLAIN, HEAVY = 0.6, 1.0, 2.6
"""Weights of strokes: what carries nothing, frames and marks, what conducts."""
ASCENT, DESCENT = 0.78, 0.24
"""What a text needs above and below its base line, as shares of its size."""
MIDDLE = 0.36
"""Height of the middle of capitals above the base line, as a share of the size."""


class Align(Enum):
    """Where a text stands relative to its point."""

    LEFT = "left"
    CENTRE = "center"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Line:
    """A stroke through points; ``dashed`` where it only marks."""

    points: tuple[Point, ...]
    weight: float = PLAIN
    dashed: bool = False

    def moved(self, dx: float, dy: float) -> Line:
        """Return the same item elsewhere."""
        return replace(self, points=tuple((x + dx, y + dy) for x, y in self.points))

    def corners(self) -> Sequence[Point]:
        """Points that bound the item."""
        return self.points


@dataclass(frozen=True, slots=True)
class Area:
    """A closed outline, filled with ``grey`` (0 black, 1 white) unless that is None; ``hatch`` is a pattern."""

    points: tuple[Point, ...]
    grey: float | None = None
    weight: float = PLAIN
    dashed: bool = False
    hatch: str = ""

    def moved(self, dx: float, dy: float) -> Area:
        """Return the same item elsewhere."""
        return replace(self, points=tuple((x + dx, y + dy) for x, y in self.points))

    def corners(self) -> Sequence[Point]:
        """Points that bound the item."""
        return self.points


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle, filled as an area is."""

    centre: Point
    radius: float
    grey: float | None = None
    weight: float = PLAIN

    def moved(self, dx: float, dy: float) -> Disc:
        """Return the same item elsewhere."""
        return replace(self, centre=(self.centre[0] + dx, self.centre[1] + dy))

    def corners(self) -> Sequence[Point]:
        """Points that bound the item."""
        (x, y), r = self.centre, self.radius
        return ((x - r, y - r), (x + r, y + r))


@dataclass(frozen=True, slots=True)
class Text:
    """A text on one line; ``at`` is on the middle of its capitals. ``grey`` is its tone."""

    at: Point
    text: str
    size: float = SMALL
    bold: bool = False
    align: Align = Align.LEFT
    grey: float = 0.0

    def moved(self, dx: float, dy: float) -> Text:
        """Return the same item elsewhere."""
        return replace(self, at=(self.at[0] + dx, self.at[1] + dy))

    def corners(self) -> Sequence[Point]:
        """Points that bound the item."""
        wide = text_width(self.text, self.size, bold=self.bold)
        x = self.at[0] - {Align.LEFT: 0.0, Align.CENTRE: wide / 2, Align.RIGHT: wide}[self.align]
        base = self.at[1] - MIDDLE * self.size
        return ((x, base - DESCENT * self.size), (x + wide, base + ASCENT * self.size))


Item = Line | Area | Disc | Text


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle that belongs to ``owner``: its symbol, or a label."""

    owner: str
    what: str
    left: float
    bottom: float
    right: float
    top: float

    def moved(self, dx: float, dy: float) -> Box:
        """Return the same box elsewhere."""
        return Box(self.owner, self.what, self.left + dx, self.bottom + dy, self.right + dx, self.top + dy)

    def overlaps(self, other: Box, slack: float = 1e-6) -> bool:
        """Tell whether two boxes share more than an edge."""
        return (
            self.left < other.right - slack
            and other.left < self.right - slack
            and self.bottom < other.top - slack
            and other.bottom < self.top - slack
        )

    def crosses(self, first: Point, second: Point, slack: float = 1e-3) -> bool:
        """Tell whether a horizontal or vertical stroke runs through the box."""
        (x0, y0), (x1, y1) = first, second
        return (
            min(x0, x1) < self.right - slack
            and max(x0, x1) > self.left + slack
            and min(y0, y1) < self.top - slack
            and max(y0, y1) > self.bottom + slack
        )


@dataclass(frozen=True, slots=True)
class Wire:
    """A stretch of a net between blocks, made of horizontal and vertical strokes."""

    net: str
    points: tuple[Point, ...]

    def moved(self, dx: float, dy: float) -> Wire:
        """Return the same wire elsewhere."""
        return Wire(self.net, tuple((x + dx, y + dy) for x, y in self.points))


@dataclass(frozen=True, slots=True)
class Scene:
    """A whole picture, its lower left corner at the origin; ``boxes`` and ``wires`` let its geometry be tested."""

    items: tuple[Item, ...]
    boxes: tuple[Box, ...]
    wires: tuple[Wire, ...]
    width: float
    height: float

    def moved(self, dx: float, dy: float) -> Scene:
        """Return the same picture elsewhere."""
        return Scene(
            tuple(item.moved(dx, dy) for item in self.items),
            tuple(box.moved(dx, dy) for box in self.boxes),
            tuple(wire.moved(dx, dy) for wire in self.wires),
            self.width,
            self.height,
        )

    def texts(self) -> tuple[str, ...]:
        """All texts of the picture."""
        return tuple(item.text for item in self.items if isinstance(item, Text))


def bounds(items: Iterable[Item]) -> tuple[float, float, float, float]:
    """Return left, bottom, right and top of items; there must be one."""
    points = [point for item in items for point in item.corners()]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def rectangle(left: float, bottom: float, right: float, top: float) -> tuple[Point, ...]:
    """Return the corners of a rectangle."""
    return ((left, bottom), (right, bottom), (right, top), (left, top))
