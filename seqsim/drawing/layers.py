"""Which layer each block stands in: sources first, each block after what drives it; cycles are opened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from seqsim.drawing.pen import Block


@dataclass(frozen=True, slots=True)
class Edge:
    """A wire of a net from a port on the right of one block to a port on the left of another."""

    source: str
    source_port: int
    target: str
    target_port: int
    net: str


def edges_between(blocks: Mapping[str, Block]) -> tuple[Edge, ...]:
    """Return the wires between blocks of parts and blocks of nets, by the nets of their ports."""
    found = []
    for key, block in blocks.items():
        if key.startswith("net:"):
            continue
        for k, port in enumerate(block.ports):
            net = f"net:{port.net}"
            if net not in blocks:
                continue
            mine = next(i for i, other in enumerate(blocks[net].ports) if other.right is not port.right)
            found.append(Edge(key, k, net, mine, port.net) if port.right else Edge(net, mine, key, k, port.net))
    return tuple(found)


def components(nodes: Sequence[str], edges: Sequence[Edge]) -> list[tuple[str, ...]]:
    """Return the connected pieces, in the order of their first nodes."""
    near: dict[str, list[str]] = {node: [] for node in nodes}
    for edge in edges:
        near[edge.source].append(edge.target)
        near[edge.target].append(edge.source)
    found, seen = [], set()
    for node in nodes:
        if node in seen:
            continue
        piece, stack = set(), [node]
        while stack:
            at = stack.pop()
            if at not in piece:
                piece.add(at)
                stack += near[at]
        seen |= piece
        found.append(tuple(other for other in nodes if other in piece))
    return found


def open_cycles(nodes: Sequence[str], edges: Sequence[Edge]) -> tuple[tuple[Edge, ...], tuple[Edge, ...]]:
    """Split edges into those that lead on and those that lead back, by a search from the sources in the order given."""
    out: dict[str, list[Edge]] = {node: [] for node in nodes}
    driven = set()
    for edge in edges:
        out[edge.source].append(edge)
        driven.add(edge.target)
    state: dict[str, int] = {}
    back = set()
    starts = [node for node in nodes if node not in driven]
    for start in (*starts, *nodes):
        if start in state:
            continue
        state[start] = 1
        stack = [(start, iter(out[start]))]
        while stack:
            at, rest = stack[-1]
            following = next(rest, None)
            if following is None:
                state[at] = 2
                stack.pop()
            elif state.get(following.target) == 1:
                back.add(following)
            elif following.target not in state:
                state[following.target] = 1
                stack.append((following.target, iter(out[following.target])))
    return tuple(e for e in edges if e not in back), tuple(e for e in edges if e in back)


def layers(nodes: Sequence[str], edges: Sequence[Edge]) -> dict[str, int]:
    """Return the layer of each node of a graph without cycles: the longest way from a source, wires then shortened."""
    before: dict[str, list[str]] = {node: [] for node in nodes}
    after: dict[str, list[str]] = {node: [] for node in nodes}
    for edge in edges:
        before[edge.target].append(edge.source)
        after[edge.source].append(edge.target)
    found: dict[str, int] = {}
    waiting = {node: len(before[node]) for node in nodes}
    ready = [node for node in nodes if not waiting[node]]
    order = []
    while ready:
        node = ready.pop(0)
        order.append(node)
        found[node] = max((found[other] + 1 for other in before[node]), default=0)
        for other in after[node]:
            waiting[other] -= 1
            if not waiting[other]:
                ready.append(other)
    for _ in range(len(nodes)):
        moved = False
        for node in reversed(order):
            if after[node] and len(after[node]) >= len(before[node]):
                latest = min(found[other] for other in after[node]) - 1
                if latest > found[node] and (not before[node] or len(after[node]) > len(before[node])):
                    found[node] = latest
                    moved = True
        if not moved:
            break
    first = min(found.values(), default=0)
    return {node: layer - first for node, layer in found.items()}


def renamed(edge: Edge, **changes: str | int) -> Edge:
    """Return an edge that ends elsewhere."""
    return replace(edge, **changes)  # type: ignore[arg-type]
