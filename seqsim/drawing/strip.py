"""One row of the picture: layers of blocks from left to right with the wires between them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from seqsim.drawing.channels import SAME, SIDE, TRACK, Bundle, junctions, tracks, width
from seqsim.drawing.heights import heights
from seqsim.drawing.layers import Edge
from seqsim.drawing.ordering import Layered, ordered
from seqsim.drawing.pen import Block
from seqsim.drawing.scene import PLAIN, Box, Disc, Item, Line, Point, Scene, Wire
from seqsim.drawing.symbols import arrow_head

LANE = 0.4
"""Distance of the lanes in which wires run back, above all blocks."""
ROUND = 0.18
"""Radius of the corners of wires that run back."""

Weigh = Callable[[str, Sequence[str]], float]
"""Weight of a wire of a net that serves these terminals."""


@dataclass(frozen=True, slots=True)
class _End:
    """An end of a wire in a channel: height, where its stroke begins, and the terminals that it serves."""

    x: float
    y: float
    terminals: tuple[str, ...]


def strip(
    blocks: Mapping[str, Block], layer: Mapping[str, int], edges: Sequence[Edge], back: Sequence[Edge], weigh: Weigh
) -> Scene:
    """Return the picture of blocks in their layers; ``back`` are the wires that lead back."""
    return _Strip(ordered(blocks, layer, edges), back, weigh).scene()


class _Strip:
    def __init__(self, layered: Layered, back: Sequence[Edge], weigh: Weigh) -> None:
        self.layered = layered
        self.blocks = layered.blocks
        self.back = back
        self.weigh = weigh
        self.y = heights(layered)
        self.layer = {key: k for k, row in enumerate(layered.rows) for key in row}
        top = max(self.y[key] + block.up for key, block in self.blocks.items())
        self.lanes = {edge: top + LANE * (k + 1) for k, edge in enumerate(back)}
        self.x: dict[str, float] = {}
        self.items: list[Item] = []
        self.wires: list[Wire] = []

    def bundles(self, channel: int) -> list[Bundle]:
        """Return the nets of a channel; channel ``k`` lies before layer ``k``."""
        found: dict[str, Bundle] = {}
        for edge in self.layered.edges:
            if self.layer[edge.target] == channel:
                bundle = found.setdefault(edge.net, Bundle(edge.net))
                self.note(bundle.left, self.end_y(edge.source, edge.source_port))
                self.note(bundle.right, self.end_y(edge.target, edge.target_port))
        for edge in self.back:
            if self.layer[edge.source] + 1 == channel:
                bundle = found.setdefault(edge.net, Bundle(edge.net))
                self.note(bundle.left, self.end_y(edge.source, edge.source_port))
                bundle.lanes.append(self.lanes[edge])
            if self.layer[edge.target] == channel:
                bundle = found.setdefault(edge.net, Bundle(edge.net))
                self.note(bundle.right, self.end_y(edge.target, edge.target_port))
                bundle.lanes.append(self.lanes[edge])
        return list(found.values())

    def note(self, ends: list[float], y: float) -> None:
        if y not in ends:
            ends.append(y)

    def end_y(self, key: str, port: int) -> float:
        return round(self.y[key] + self.blocks[key].ports[port].y, 4)

    def scene(self) -> Scene:
        count = len(self.layered.rows)
        channels = [self.bundles(k) for k in range(count + 1)]
        order = [tracks(bundles) for bundles in channels]
        x = 0.0
        starts: list[float] = []
        edges_of_layers: list[tuple[float, float]] = []
        for k in range(count + 1):
            starts.append(x)
            if 0 < k < count or order[k]:
                x += width(len(order[k]))
            if k < count:
                wide = max((self.blocks[key].width for key in self.layered.rows[k]), default=0.0)
                edges_of_layers.append((x, x + wide))
                for key in self.layered.rows[k]:
                    self.x[key] = x
                x += wide
        for k in range(count + 1):
            at = {bundle.net: starts[k] + SIDE + TRACK * i for i, bundle in enumerate(order[k])}
            for bundle in channels[k]:
                self.draw(bundle, k, at.get(bundle.net))
        for key in self.blocks:
            if key.startswith("bend:"):
                left, right = edges_of_layers[self.layer[key]]
                block = self.blocks[key]
                served = self.served(key)
                self.stroke(block.ports[0].net, ((left, self.y[key]), (right, self.y[key])), served)
        self.draw_lanes(order, starts)
        return self.finish()

    def served(self, key: str) -> tuple[str, ...]:
        """Return the terminals that a bend serves, behind further bends too."""
        out = ":out:" in key
        found: list[str] = []
        for edge in self.layered.edges:
            mine, other, port = (
                (edge.source, edge.target, edge.target_port) if out else (edge.target, edge.source, edge.source_port)
            )
            if mine == key:
                found += self.served(other) if other.startswith("bend:") else self.blocks[other].ports[port].terminals
        return tuple(found)

    def ends(self, bundle: Bundle, channel: int) -> tuple[list[_End], list[_End]]:
        left: dict[tuple[str, int], _End] = {}
        right: dict[tuple[str, int], _End] = {}
        for edge in self.layered.edges:
            if self.layer[edge.target] == channel and edge.net == bundle.net:
                left[edge.source, edge.source_port] = self.end(edge.source, edge.source_port)
                right[edge.target, edge.target_port] = self.end(edge.target, edge.target_port)
        for edge in self.back:
            if edge.net == bundle.net and self.layer[edge.source] + 1 == channel:
                left[edge.source, edge.source_port] = self.end(edge.source, edge.source_port)
            if edge.net == bundle.net and self.layer[edge.target] == channel:
                right[edge.target, edge.target_port] = self.end(edge.target, edge.target_port)
        return list(left.values()), list(right.values())

    def end(self, key: str, port: int) -> _End:
        block = self.blocks[key]
        if key.startswith("bend:"):
            layer_right = self.x[key] + max(self.blocks[other].width for other in self.layered.rows[self.layer[key]])
            x = layer_right if block.ports[port].right else self.x[key]
            return _End(x, self.end_y(key, port), self.served(key))
        return _End(self.x[key] + block.ports[port].x, self.end_y(key, port), block.ports[port].terminals)

    def draw(self, bundle: Bundle, channel: int, track: float | None) -> None:
        left, right = self.ends(bundle, channel)
        everything = tuple(terminal for end in (*left, *right) for terminal in end.terminals)
        if track is None:
            self.stroke(bundle.net, ((left[0].x, left[0].y), (right[0].x, right[0].y)), everything)
            return
        for end in left:
            self.stroke(bundle.net, ((end.x, end.y), (track, end.y)), end.terminals or everything)
        for end in right:
            self.stroke(bundle.net, ((track, end.y), (end.x, end.y)), end.terminals or everything)
        low, high = bundle.span
        if bundle.lanes:
            high = max([*bundle.left, *bundle.right])
            self.stroke(bundle.net, ((track, high), (track, max(bundle.lanes) - ROUND)), everything)
        if high > low:
            self.stroke(bundle.net, ((track, low), (track, high)), everything)
        self.items += [
            Disc(point, 0.055, 0.0, 0.3) for point in junctions(bundle, track) if point[1] not in bundle.lanes
        ]

    def draw_lanes(self, order: Sequence[Sequence[Bundle]], starts: Sequence[float]) -> None:
        """Draw the wires that lead back: over all blocks, with round corners and an arrow."""
        for edge in self.back:
            y = self.lanes[edge]
            right, left = (
                starts[k] + SIDE + TRACK * next(i for i, bundle in enumerate(order[k]) if bundle.net == edge.net)
                for k in (self.layer[edge.source] + 1, self.layer[edge.target])
            )
            middle = (left + right) / 2
            self.stroke(edge.net, ((right - ROUND, y), (left + ROUND, y)), ())
            self.items += [
                Line(((right, y - ROUND), (right - 0.3 * ROUND, y - 0.3 * ROUND), (right - ROUND, y)), PLAIN),
                Line(((left, y - ROUND), (left + 0.3 * ROUND, y - 0.3 * ROUND), (left + ROUND, y)), PLAIN),
                arrow_head((middle + 1, y), (middle, y), 0.26),
            ]

    def stroke(self, net: str, points: tuple[Point, ...], terminals: Sequence[str]) -> None:
        if points[0] != points[-1]:
            self.items.append(Line(points, self.weigh(net, terminals)))
            self.wires.append(Wire(net, points))

    def finish(self) -> Scene:
        boxes: list[Box] = []
        for key, block in self.blocks.items():
            dx, dy = self.x[key], self.y[key]
            self.items += [item.moved(dx, dy) for item in block.items]
            boxes += [box.moved(dx, dy) for box in block.boxes]
        left = min([0.0, *(self.x[key] for key in self.blocks)])
        right = max(
            [
                *(self.x[key] + block.width for key, block in self.blocks.items()),
                *(x for w in self.wires for x, _ in w.points),
            ]
        )
        top = max([*(self.y[key] + block.up for key, block in self.blocks.items()), *self.lanes.values()]) + 0.05
        bottom = min(self.y[key] - block.down for key, block in self.blocks.items())
        return Scene(tuple(self.items), tuple(boxes), tuple(self.wires), right - left, top - bottom).moved(
            -left, -bottom
        )


def overlaid(wires: Sequence[Wire]) -> list[tuple[Wire, Wire]]:
    """Return pairs of wires of different nets that run on top of each other."""
    return [
        (one, other)
        for k, one in enumerate(wires)
        for other in wires[k + 1 :]
        if one.net != other.net and _along(one, other)
    ]


def _along(one: Wire, other: Wire) -> bool:
    (ax, ay), (bx, by) = one.points[0], one.points[-1]
    (cx, cy), (dx, dy) = other.points[0], other.points[-1]
    if ay == by and cy == dy and abs(ay - cy) < SAME / 2:
        return min(max(ax, bx), max(cx, dx)) - max(min(ax, bx), min(cx, dx)) > 1e-6
    if ax == bx and cx == dx and abs(ax - cx) < SAME / 2:
        return min(max(ay, by), max(cy, dy)) - max(min(ay, by), min(cy, dy)) > 1e-6
    return False
