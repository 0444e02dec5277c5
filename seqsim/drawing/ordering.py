"""The order of blocks within each layer, so that few wires cross: dummies for long wires, barycentre sweeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from seqsim.drawing.layers import Edge, renamed
from seqsim.drawing.pen import Block, Port

SWEEPS = 24
BEND_ROOM = 0.16
"""Room above and below a wire that passes a layer."""


@dataclass(frozen=True)
class Layered:
    """Blocks in layers, top first, and the edges between neighbouring layers."""

    blocks: Mapping[str, Block]
    rows: tuple[tuple[str, ...], ...]
    edges: tuple[Edge, ...]


def bend(key: str, net: str) -> Block:
    """Return the dummy block of a wire that passes a layer."""
    return Block(key, 0.0, BEND_ROOM, BEND_ROOM, (Port(net, False, 0.0, 0.0), Port(net, True, 0.0, 0.0)))


def with_bends(
    blocks: Mapping[str, Block], layer: Mapping[str, int], edges: Sequence[Edge]
) -> tuple[dict[str, Block], dict[str, int], tuple[Edge, ...]]:
    """Cut long wires into pieces between neighbouring layers; wires of a net share their bends."""
    blocks, layer = dict(blocks), dict(layer)
    found: dict[Edge, None] = {}
    for edge in edges:
        leaving = edge.source.startswith(("net:", "entry:"))
        at, port = edge.source, edge.source_port
        for step in range(layer[edge.source] + 1, layer[edge.target]):
            key = f"bend:{edge.net}:{'out' if leaving else 'in'}:{step}"
            if key not in blocks:
                blocks[key] = bend(key, edge.net)
                layer[key] = step
            found[Edge(at, port, key, 0, edge.net)] = None
            at, port = key, 1
        found[renamed(edge, source=at, source_port=port)] = None
    return blocks, layer, tuple(found)


def ordered(blocks: Mapping[str, Block], layer: Mapping[str, int], edges: Sequence[Edge]) -> Layered:
    """Return the layers in the best order that the sweeps find."""
    blocks, layer, edges = with_bends(blocks, layer, edges)
    first = [[node for node in blocks if layer[node] == k] for k in range(max(layer.values(), default=0) + 1)]
    rows = [list(row) for row in first]
    best, fewest = [list(row) for row in rows], _crossings(blocks, rows, edges)
    for sweep in range(SWEEPS):
        downwards = sweep % 2 == 0
        steps = range(1, len(rows)) if downwards else range(len(rows) - 2, -1, -1)
        for k in steps:
            _sort(blocks, rows, k, edges, by_left=downwards)
        crossed = _crossings(blocks, rows, edges)
        if crossed < fewest:
            best, fewest = [list(row) for row in rows], crossed
    return Layered(blocks, tuple(tuple(row) for row in best), edges)


def _places(blocks: Mapping[str, Block], row: Sequence[str], *, right: bool) -> dict[tuple[str, int], float]:
    """Place of each port on one side of a layer, counted from the top."""
    ports = [
        (key, k, -blocks[key].ports[k].y)
        for key in row
        for k, port in enumerate(blocks[key].ports)
        if port.right is right
    ]
    position = {key: k for k, key in enumerate(row)}
    ports.sort(key=lambda port: (position[port[0]], port[2], port[1]))
    return {(key, k): float(place) for place, (key, k, _) in enumerate(ports)}


def _sort(blocks: Mapping[str, Block], rows: list[list[str]], k: int, edges: Sequence[Edge], *, by_left: bool) -> None:
    other = _places(blocks, rows[k - 1 if by_left else k + 1], right=by_left)
    here = {node: i for i, node in enumerate(rows[k])}
    wanted: dict[str, list[float]] = {}
    for edge in edges:
        mine, theirs = (
            (edge.target, (edge.source, edge.source_port))
            if by_left
            else (edge.source, (edge.target, edge.target_port))
        )
        if mine in here and theirs in other:
            wanted.setdefault(mine, []).append(other[theirs])
    scale = max(len(other), 1) / max(len(here), 1)
    rows[k].sort(
        key=lambda node: (sum(wanted[node]) / len(wanted[node]) if node in wanted else here[node] * scale, here[node])
    )


def _crossings(blocks: Mapping[str, Block], rows: Sequence[Sequence[str]], edges: Sequence[Edge]) -> int:
    total = 0
    for left, right in pairwise(rows):
        starts, ends = _places(blocks, left, right=True), _places(blocks, right, right=False)
        lines = sorted(
            (starts[edge.source, edge.source_port], ends[edge.target, edge.target_port], edge.net)
            for edge in edges
            if (edge.source, edge.source_port) in starts and (edge.target, edge.target_port) in ends
        )
        total += sum(
            1
            for i, (a, b, net) in enumerate(lines)
            for c, d, other in lines[i + 1 :]
            if net != other and a < c and b > d
        )
    return total
