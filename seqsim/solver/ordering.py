"""The order in which nodes are eliminated so that few new couplings arise."""

from __future__ import annotations

import heapq

from seqsim.network.network import Ints


def elimination_order(first: Ints, second: Ints, nodes: int) -> list[int]:
    """Return nodes in the order of least degree, worked out as elimination goes on.

    ``first`` and ``second`` are the ends of couplings (self-couplings may be among them). This is the minimum-degree
    rule of Tinney and Walker, Proc. IEEE 55 (1967) 1801-1809 (from memory, not checked against the text).
    """
    near: list[set[int]] = [set() for _ in range(nodes)]
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a != b:
            near[a].add(b)
            near[b].add(a)
    heap = [(len(others), node) for node, others in enumerate(near)]
    heapq.heapify(heap)
    order: list[int] = []
    done = [False] * nodes
    while heap:
        degree, node = heapq.heappop(heap)
        if done[node] or degree != len(near[node]):
            continue
        done[node] = True
        order.append(node)
        others = near[node]
        for other in others:
            grown = near[other]
            grown |= others
            grown.discard(node)
            grown.discard(other)
            heapq.heappush(heap, (len(grown), other))
    return order
