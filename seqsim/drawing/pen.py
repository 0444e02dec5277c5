"""Blocks: what stands as one piece in the layout, and the pen that draws their parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from seqsim.drawing.facts import Facts, Flag, Level, Mark
from seqsim.drawing.metrics import text_width
from seqsim.drawing.scene import (
    ASCENT,
    DESCENT,
    MIDDLE,
    NAME,
    PLAIN,
    SMALL,
    THIN,
    Align,
    Area,
    Box,
    Disc,
    Item,
    Line,
    Point,
    Text,
    bounds,
    rectangle,
)
from seqsim.drawing.symbols import Symbol, symbol

LINE = 1.18
"""Distance of text lines, as a share of their size."""
FRAME = 0.06
"""Room between a text and its frame."""
LEAD = 0.2
"""Length of a lead between a symbol and what it ends at."""
DARK, PALE, WHITE = 0.15, 0.88, 1.0


@dataclass(frozen=True, slots=True)
class Port:
    """Where a wire meets a block: the net, the side, the point, and the terminals that it serves."""

    net: str
    right: bool
    x: float
    y: float
    terminals: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of the picture with its origin at its left edge on the height of its main wire."""

    key: str
    width: float
    up: float
    down: float
    ports: tuple[Port, ...]
    items: tuple[Item, ...] = ()
    boxes: tuple[Box, ...] = ()

    def port(self, net: str, *, right: bool) -> Port | None:
        """Return the first port of a net on one side."""
        return next((port for port in self.ports if port.net == net and port.right is right), None)


class Pen:
    """Collects strokes, texts and boxes of one block."""

    def __init__(self, key: str, facts: Facts) -> None:
        self.key = key
        self.facts = facts
        self.items: list[Item] = []
        self.boxes: list[Box] = []
        self.ports: list[Port] = []

    # ---- strokes ---------------------------------------------------------------------------------------------

    def line(self, *points: Point, weight: float = PLAIN) -> None:
        """Draw a stroke."""
        self.items.append(Line(points, weight))

    def dot(self, at: Point) -> None:
        """Draw a junction."""
        self.items.append(Disc(at, 0.055, 0.0, 0.3))

    def put(self, drawn: Symbol, at: Point, anchor: str, owner: str) -> dict[str, Point]:
        """Draw a symbol with one anchor at a point, and return where its anchors lie."""
        dx, dy = at[0] - drawn.anchors[anchor][0], at[1] - drawn.anchors[anchor][1]
        placed = [item.moved(dx, dy) for item in drawn.items]
        self.items += placed
        self.box(owner, "symbol", placed)
        return {name: (x + dx, y + dy) for name, (x, y) in drawn.anchors.items()}

    def box(self, owner: str, what: str, items: Sequence[Item]) -> Box:
        """Note the box of some items."""
        found = Box(owner, what, *bounds(items))
        self.boxes.append(found)
        return found

    # ---- texts -----------------------------------------------------------------------------------------------

    def text(self, at: Point, text: str, size: float = SMALL, *, bold: bool = False, align: Align = Align.LEFT) -> Box:
        """Write a line of text."""
        item = Text(at, text, size, bold, align)
        self.items.append(item)
        return self.box(self.key, "label", [item])

    def lines(
        self, at: Point, lines: Sequence[tuple[str, float, bool]], align: Align = Align.LEFT
    ) -> tuple[float, float]:
        """Write lines below each other, the middle of the first at a point; return their width and the lowest point."""
        x, y = at
        wide, low = 0.0, y
        for k, (text, size, bold) in enumerate(lines):
            if k:
                y -= LINE * size
            box = self.text((x, y), text, size, bold=bold, align=align)
            wide, low = max(wide, box.right - box.left), box.bottom
        return wide, low

    def flag(self, left: float, y: float, flag: Flag) -> Box:
        """Draw the level of a net: dark is high, empty low, dashed floating, with bars at both ends undecided."""
        undecided = flag.level in (Level.UNDEFINED, Level.BETWEEN)
        room = FRAME * (3.5 if undecided else 1.5)
        right = left + 2 * room + text_width(flag.text, SMALL, bold=True)
        low, high = y - (MIDDLE + DESCENT) * SMALL - FRAME / 2, y + (ASCENT - MIDDLE) * SMALL + FRAME / 2
        dark, floating = flag.level is Level.HIGH, flag.level is Level.FLOATING
        frame = Area(
            rectangle(left, low, right, high), DARK if dark else WHITE, 1.2 if floating else PLAIN, dashed=floating
        )
        self.items.append(frame)
        if undecided:
            for end in (left, right - 2 * FRAME):
                self.items.append(Area(rectangle(end, low, end + 2 * FRAME, high), 0.5, THIN))
        tone = WHITE if dark else 0.0
        self.items.append(Text((left + room, y), flag.text, SMALL, bold=True, grey=tone))
        return self.box(self.key, "label", [frame])

    def mark(self, left: float, y: float, mark: Mark) -> Box:
        """Write a measured value: pointed frame, with a cross where it contradicts the level."""
        sign = {True: "✓ ", False: "✗ ", None: ""}[mark.agrees]
        text = f"{sign}{mark.text}"
        wide = text_width(text, SMALL, bold=mark.agrees is False)
        low, high = y - (MIDDLE + DESCENT) * SMALL - FRAME / 2, y + (ASCENT - MIDDLE) * SMALL + FRAME / 2
        point = 0.14
        outline = ((left, y), (left + point, high), (left + wide + point + 2 * FRAME, high),
                   (left + wide + point + 2 * FRAME, low), (left + point, low))  # fmt: skip
        self.items.append(Area(outline, WHITE, 2 * PLAIN if mark.agrees is False else PLAIN))
        self.items.append(Text((left + point + FRAME / 2, y), text, SMALL, mark.agrees is False))
        return self.box(self.key, "label", [self.items[-2]])

    # ---- ends of wires ---------------------------------------------------------------------------------------

    def earth(self, at: Point, net: str, weight: float = PLAIN, *, left: bool = False) -> float:
        """End a wire at ground, below a point, its name on the right or ``left``; return the lowest point."""
        ground = symbol("Ground", scale=0.6, weight=PLAIN)
        self.line(at, (at[0], at[1] - 0.05), weight=weight)
        self.put(ground, (at[0], at[1] - 0.05), "start", f"{self.key} ground")
        low = at[1] - 0.05 - 0.4
        if net != "GND":
            side, align = (-0.22, Align.RIGHT) if left else (0.22, Align.LEFT)
            low = self.text((at[0] + side, at[1] - 0.3), net, align=align).bottom
        return low

    def rail(self, at: Point, net: str, weight: float = PLAIN, *, down: bool = False) -> float:
        """End a wire at a rail, above a point (below if ``down``); return the outermost point."""
        sign = -1 if down else 1
        end = at[1] + sign * LEAD
        self.line(at, (at[0], end), weight=weight)
        self.items.append(Line(((at[0] - 0.22, end), (at[0] + 0.22, end)), 1.6))
        box = self.text((at[0], end + sign * 0.2), net, SMALL, bold=True, align=Align.CENTRE)
        return box.bottom if down else box.top

    def side_rail(self, at: Point, net: str, weight: float = PLAIN, *, right: bool) -> float:
        """End a wire at a rail beside a point, as a pointed flag; return the outermost x."""
        wide = text_width(net, SMALL, bold=True)
        sign = 1 if right else -1
        x = at[0] + sign * 0.12
        self.line(at, (x, at[1]), weight=weight)
        tip, far = x + sign * 0.12, x + sign * (0.16 + wide + 2 * FRAME)
        outline = ((x, at[1]), (tip, at[1] + 0.17), (far, at[1] + 0.17), (far, at[1] - 0.17), (tip, at[1] - 0.17))
        self.items.append(Area(outline, PALE, PLAIN))
        middle = (tip + far) / 2
        self.items.append(Text((middle, at[1]), net, SMALL, True, Align.CENTRE))
        self.box(self.key, "label", [self.items[-2]])
        return far

    # ---- faults ----------------------------------------------------------------------------------------------

    def ring(self, inner: Box) -> Box:
        """Draw the dashed ring around something that is broken."""
        out = 0.12
        frame = rectangle(inner.left - out, inner.bottom - out, inner.right + out, inner.top + out)
        self.items.append(Area(frame, None, 1.3, dashed=True))
        return Box(inner.owner, "symbol", inner.left - out, inner.bottom - out, inner.right + out, inner.top + out)

    # ---- the whole -------------------------------------------------------------------------------------------

    def port(self, net: str, at: Point, *, right: bool, terminals: tuple[str, ...] = ()) -> None:
        """Let a wire of a net meet the block at a point on its left or right edge."""
        self.ports.append(Port(net, right, at[0], at[1], terminals))

    def block(self, width: float | None = None) -> Block:
        """Return what was drawn, its left edge moved to zero."""
        left, bottom, right, top = bounds(self.items)
        wide = max(right, width or 0.0) - min(left, 0.0)
        shift = -min(left, 0.0)
        return Block(
            self.key, wide, max(top, 0.1), max(-bottom, 0.1),
            tuple(replace(port, x=port.x + shift) for port in self.ports),
            tuple(item.moved(shift, 0) for item in self.items),
            tuple(replace(box, left=box.left + shift, right=box.right + shift) for box in self.boxes),
        )  # fmt: skip


def label_lines(name: str, *values: str, marks: Sequence[str] = ()) -> list[tuple[str, float, bool]]:
    """Return the lines of a label: the name, values, and what is broken."""
    lines = [(name, NAME, False)]
    lines += [(value, SMALL, False) for value in values if value]
    lines += [(f"✗ {mark}", SMALL, True) for mark in marks]
    return lines


def lines_height(lines: Sequence[tuple[str, float, bool]]) -> float:
    """Height of lines below each other."""
    return sum(LINE * size for _, size, _ in lines)
