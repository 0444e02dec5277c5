"""Part symbols: schemdraw's elements, taken apart into strokes of our own pictures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from seqsim.drawing.scene import PLAIN, Area, Disc, Item, Line, Point

ARROW = 0.16
"""Length of arrow heads."""
DARK = 0.0
WHITE = 1.0


@dataclass(frozen=True, slots=True)
class Symbol:
    """Strokes around the origin and where wires meet them."""

    items: tuple[Item, ...]
    anchors: Mapping[str, Point]


@dataclass(frozen=True, slots=True)
class _Pose:
    """How a symbol stands: scaled, mirrored top to bottom, turned (degrees), its strokes of a weight."""

    turn: float
    mirror: bool
    scale: float
    weight: float

    def at(self, point: Any) -> Point:
        x, y = float(point[0]) * self.scale, float(point[1]) * self.scale * (-1 if self.mirror else 1)
        angle = math.radians(self.turn)
        c, s = math.cos(angle), math.sin(angle)
        return (round(x * c - y * s, 6), round(x * s + y * c, 6))


@cache
def symbol(
    name: str, turn: float = 0.0, *, mirror: bool = False, scale: float = 1.0, weight: float = PLAIN, inputs: int = 2
) -> Symbol:
    """Return the symbol of that name among schemdraw's elements and logic gates.

    Two-terminal symbols have the anchors ``start`` and ``end``; they lie on the x axis before they are turned.
    """
    element = _element(name, inputs)
    pose = _Pose(turn, mirror, scale, weight)
    anchors = {key: pose.at(point) for key, point in element.anchors.items()}
    if "start" not in anchors:
        path = getattr(element.segments[0], "path", None)
        if path is not None and not {"base", "gate", "in1", "anode"} & anchors.keys():
            anchors = {"start": pose.at(path[0]), "end": pose.at(path[-1])} | anchors
    items: list[Item] = []
    for segment in element.segments:
        items += _strokes(segment, pose)
    return Symbol(tuple(items), anchors)


def contact(turn: float, weight: float) -> Symbol:
    """Return a closed contact: the switch symbol with its lever down."""
    pose = _Pose(turn, mirror=False, scale=1.0, weight=weight)
    items: tuple[Item, ...] = (
        Line((pose.at((0.24, 0)), pose.at((0.76, 0))), weight),
        Disc(pose.at((0.12, 0)), 0.12, WHITE, PLAIN),
        Disc(pose.at((0.88, 0)), 0.12, WHITE, PLAIN),
    )
    return Symbol(items, {"start": pose.at((0, 0)), "end": pose.at((1, 0))})


def _element(name: str, inputs: int) -> Any:
    import schemdraw

    schemdraw.use("svg")
    from schemdraw import elements, logic

    kind = getattr(elements, name, None) or getattr(logic, name)
    if kind.__module__.startswith("schemdraw.logic") and name not in ("Not", "Buf"):
        return kind(inputs=inputs)
    return kind()


def _strokes(segment: Any, pose: _Pose) -> list[Item]:
    kind = type(segment).__name__
    if kind == "SegmentCircle":
        filled = WHITE if getattr(segment, "fill", None) == "bg" else None
        return [Disc(pose.at(segment.center), segment.radius * pose.scale, filled, pose.weight)]
    if kind == "SegmentPoly":
        return [Area(tuple(pose.at(point) for point in segment.verts), None, pose.weight)]
    if kind != "Segment":
        message = f"a symbol has a {kind}, which these pictures do not draw"
        raise TypeError(message)
    items: list[Item] = []
    run: list[Point] = []
    for point in segment.path:
        if math.isnan(point[0]):
            items += _run(run, pose)
            run = []
        else:
            run.append(pose.at(point))
    items += _run(run, pose)
    if getattr(segment, "arrow", None) and len(run) > 1:
        items.append(arrow_head(run[-2], run[-1], ARROW * pose.scale))
    return items


def _run(run: list[Point], pose: _Pose) -> list[Item]:
    return [Line(tuple(run), pose.weight)] if len(run) > 2 or (len(run) > 1 and run[0] != run[-1]) else []


def arrow_head(tail: Point, tip: Point, length: float = ARROW) -> Area:
    """Return a filled arrow head at ``tip``."""
    dx, dy = tip[0] - tail[0], tip[1] - tail[1]
    size = math.hypot(dx, dy) or 1.0
    ux, uy = dx / size * length, dy / size * length
    return Area(
        (
            tip,
            (tip[0] - ux - uy * 0.45, tip[1] - uy + ux * 0.45),
            (tip[0] - ux + uy * 0.45, tip[1] - uy - ux * 0.45),
        ),
        DARK,
        0.3,
    )
