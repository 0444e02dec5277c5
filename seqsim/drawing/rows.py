"""A long chain on a page: layers are cut into rows where few wires run, and rows and small pieces fill the page."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, pairwise

from seqsim.drawing.layers import Edge, components, layers, open_cycles, renamed
from seqsim.drawing.net_blocks import flag_block
from seqsim.drawing.pen import Block
from seqsim.drawing.scene import Scene
from seqsim.drawing.strip import Weigh, strip

CHANNEL = 0.4
"""Usual width of a channel, to guess where a row is full."""
FLAGS = 3.0
"""Width that the flags at both ends of a row may take."""
CUT_COST, ROW_COST = 0.12, 0.5
"""What a wire that is cut and a further row cost, against rows of unequal length (our judgement)."""
ROOMY = 30.0
"""Up to this width everything is large enough on a small sheet (names in 7.5 points or more)."""
SCENE_COST = 0.05
"""What a further piece costs, in width."""
FEWEST = 2
"""Layers that a row holds even where they are wider than the page."""
ROW_GAP, PIECE_GAP = 0.7, 0.9
WIDTHS = (14.0, 18.0, 22.0, 26.0, 30.0, 35.0, 40.0, 46.0, 54.0, 64.0, 80.0, 100.0, 125.0, 160.0, 200.0)
"""Widths of the page that are tried."""
ROW_HEIGHT, NARROWER, WIDER = 6.0, 1.4, 1.6
"""Usual height of a row, and how far from the width that it asks for trials go (our judgement)."""


@dataclass(frozen=True)
class Piece:
    """A connected piece of the picture with its layers."""

    blocks: Mapping[str, Block]
    layer: Mapping[str, int]
    edges: tuple[Edge, ...]
    back: tuple[Edge, ...]

    @cached_property
    def reach(self) -> tuple[float, ...]:
        """Width of the layers before each one, channels included; the last is that of all."""
        count = max(self.layer.values()) + 1
        widths = [0.0] * count
        for key, k in self.layer.items():
            widths[k] = max(widths[k], self.blocks[key].width)
        return tuple(accumulate((wide + CHANNEL for wide in widths), initial=0.0))

    @property
    def count(self) -> int:
        """Number of layers."""
        return len(self.reach) - 1


def pieces(blocks: Mapping[str, Block], edges: Sequence[Edge]) -> tuple[Piece, ...]:
    """Split a picture into its connected pieces and find their layers."""
    found = []
    for nodes in components(tuple(blocks), edges):
        inside = [edge for edge in edges if edge.source in nodes]
        onward, back = open_cycles(nodes, inside)
        found.append(Piece({node: blocks[node] for node in nodes}, layers(nodes, onward), onward, back))
    return tuple(found)


def page(found: Sequence[Piece], aspect: float, weigh: Weigh) -> Scene:
    """Return the picture that can be drawn largest on a page of this aspect (width by height)."""
    best: Scene | None = None
    best_size = 0.0
    drawn: dict[tuple[int, int, int], list[Scene]] = {}
    for wide in _widths(found, aspect):
        scenes: list[Scene] = []
        for k, piece in enumerate(found):
            for first, last in pairwise(_cuts(piece, wide)):
                if (k, first, last) not in drawn:
                    drawn[k, first, last] = _row(piece, range(first, last), weigh)
                scenes += drawn[k, first, last]
        trial = _filled(scenes, wide)
        # what stays below ROOMY is drawn equally large: then the fewest rows are best
        size = max(trial.width, trial.height * aspect, ROOMY) + SCENE_COST * len(scenes)
        if best is None or size < best_size - 1e-9:
            best, best_size = trial, size
    if best is None:
        message = "there is nothing to draw"
        raise ValueError(message)
    return best


def _widths(found: Sequence[Piece], aspect: float) -> list[float]:
    """Return the widths that are worth a trial: around that at which rows of usual height fill the page."""
    full = math.sqrt(sum(piece.reach[-1] for piece in found) * ROW_HEIGHT * aspect)
    return [wide for wide in WIDTHS if full / NARROWER <= wide <= max(full * WIDER, ROOMY)] or [WIDTHS[-1]]


def _cuts(piece: Piece, wide: float) -> tuple[int, ...]:
    """Return the first layer of each row, and the number of layers: few cut wires, rows of even length."""
    count, reach = piece.count, piece.reach
    if reach[-1] <= wide:
        return (0, count)
    crossing = [
        len({edge.net for edge in (*piece.edges, *piece.back) if _cut(piece, edge, k)}) for k in range(count + 1)
    ]
    room = wide - FLAGS
    cost = [0.0] + [float("inf")] * count
    came = [0] * (count + 1)
    for end in range(1, count + 1):
        for start in range(end):
            used = reach[end] - reach[start]
            if used > room and end - start > FEWEST:
                continue
            unused = 0.0 if end == count else ((room - used) / room) ** 2
            trial = cost[start] + unused + (CUT_COST * crossing[end] + ROW_COST if end < count else 0.0)
            if trial < cost[end]:
                cost[end], came[end] = trial, start
    cuts = [count]
    while cuts[-1] > 0:
        cuts.append(came[cuts[-1]])
    return tuple(cuts[::-1])


def _cut(piece: Piece, edge: Edge, k: int) -> bool:
    one, other = sorted((piece.layer[edge.source], piece.layer[edge.target]))
    return one < k <= other


def _row(piece: Piece, layer: range, weigh: Weigh) -> list[Scene]:
    """Return what is connected within one row; wires that leave or enter it end at flags with the net's name."""
    inside = {key for key, at in piece.layer.items() if at in layer}
    blocks = {key: block for key, block in piece.blocks.items() if key in inside}
    at = {key: piece.layer[key] for key in blocks}
    edges: list[Edge] = []
    leaving: dict[str, list[Edge]] = {}
    entering: dict[str, list[Edge]] = {}
    for edge in (*piece.edges, *piece.back):
        if edge.source in inside and edge.target in inside:
            if edge in piece.edges:
                edges.append(edge)
        elif edge.source in inside:
            leaving.setdefault(edge.net, []).append(edge)
        elif edge.target in inside:
            entering.setdefault(edge.net, []).append(edge)
    for count, (net, cut) in enumerate(leaving.items()):
        flag = flag_block(net, leaves=True, count=count)
        blocks[flag.key], at[flag.key] = flag, max(at[edge.source] for edge in cut) + 1
        edges += dict.fromkeys(renamed(edge, target=flag.key, target_port=0) for edge in cut)
    for count, (net, cut) in enumerate(entering.items()):
        flag = flag_block(net, leaves=False, count=count)
        blocks[flag.key], at[flag.key] = flag, min(at[edge.target] for edge in cut) - 1
        edges += dict.fromkeys(renamed(edge, source=flag.key, source_port=0) for edge in cut)
    back = [edge for edge in piece.back if edge.source in inside and edge.target in inside]
    scenes = []
    for nodes in components(tuple(blocks), (*edges, *back)):
        first = min(at[node] for node in nodes)
        scenes.append(
            strip(
                {node: blocks[node] for node in nodes},
                {node: at[node] - first for node in nodes},
                [edge for edge in edges if edge.source in nodes],
                [edge for edge in back if edge.source in nodes],
                weigh,
            )
        )
    return scenes


def _filled(scenes: Sequence[Scene], wide: float) -> Scene:
    """Set scenes like words on lines, the first line on top."""
    lines: list[list[Scene]] = []
    used = 0.0
    for scene in scenes:
        if lines and used + PIECE_GAP + scene.width <= wide:
            lines[-1].append(scene)
            used += PIECE_GAP + scene.width
        else:
            lines.append([scene])
            used = scene.width
    height = sum(max(scene.height for scene in line) for line in lines) + ROW_GAP * (len(lines) - 1)
    width = max(sum(scene.width for scene in line) + PIECE_GAP * (len(line) - 1) for line in lines)
    placed: list[Scene] = []
    y = height
    for line in lines:
        y -= max(scene.height for scene in line)
        x = 0.0
        for scene in line:
            placed.append(scene.moved(x, y))
            x += scene.width + PIECE_GAP
        y -= ROW_GAP
    return Scene(
        tuple(item for scene in placed for item in scene.items),
        tuple(box for scene in placed for box in scene.boxes),
        tuple(wire for scene in placed for wire in scene.wires),
        width,
        height,
    )
