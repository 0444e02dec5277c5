"""The heights of blocks: wires as straight as the order of the layers allows.

In each layer the blocks want to stand where their wires run level; among all heights that keep the order and the room
of the blocks, those with the least sum of distances are found by pooling neighbours (the pool-adjacent-violators
method of isotonic regression; Barlow and others, *Statistical Inference under Order Restrictions*, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from seqsim.drawing.ordering import Layered
from seqsim.drawing.pen import Block

ROUNDS = 30
JOG_LENGTH, SPAN = 0.15, 0.5
"""What a unit of a jog and of the whole height costs, against one wire that does not run level (our judgement)."""
GAP = 0.3
"""Room between blocks of a layer."""


def heights(layered: Layered) -> dict[str, float]:
    """Return the height of each block's main wire; layers are swept from both sides in turn."""
    blocks, rows = layered.blocks, layered.rows
    found: dict[str, float] = {}
    for row in rows:
        y = 0.0
        for key in row:
            y -= blocks[key].up
            found[key] = y
            y -= blocks[key].down + GAP
    left: dict[str, list[tuple[str, float]]] = {key: [] for key in blocks}
    right: dict[str, list[tuple[str, float]]] = {key: [] for key in blocks}
    for edge in layered.edges:
        shift = blocks[edge.source].ports[edge.source_port].y - blocks[edge.target].ports[edge.target_port].y
        left[edge.target].append((edge.source, shift))
        right[edge.source].append((edge.target, -shift))
    best, least = dict(found), float("inf")
    for turn in range(ROUNDS):
        onward = turn % 2 == 0
        near, far = (left, right) if onward else (right, left)
        for k in range(len(rows)) if onward else range(len(rows) - 1, -1, -1):
            wanted = [
                [found[other] + shift for other, shift in near[key] or far[key]] or [found[key]] for key in rows[k]
            ]
            found |= _pooled(blocks, rows[k], wanted)
        if turn and (cost := _unevenness(found, left)) < least - 1e-9:
            best, least = dict(found), cost
    return best


def _unevenness(found: Mapping[str, float], left: Mapping[str, list[tuple[str, float]]]) -> float:
    """Return how far wires are from running level: each that does not counts, and its length a little."""
    jogs = [abs(found[key] - found[other] - shift) for key, others in left.items() for other, shift in others]
    span = max(found.values(), default=0.0) - min(found.values(), default=0.0)
    return sum((jog > 1e-6) + JOG_LENGTH * jog for jog in jogs) + SPAN * span


def _pooled(blocks: Mapping[str, Block], row: Sequence[str], wanted: Sequence[list[float]]) -> dict[str, float]:
    """Return the heights of one layer, top first, nearest to what each block wants."""
    offset, offsets = 0.0, []
    for k, key in enumerate(row):
        if k:
            offset += blocks[row[k - 1]].down + GAP + blocks[key].up
        offsets.append(offset)
    pools: list[tuple[list[float], list[int]]] = []
    for k, values in enumerate(wanted):
        pools.append(([value + offsets[k] for value in values], [k]))
        while len(pools) > 1 and _median(pools[-2][0]) < _median(pools[-1][0]):
            values, members = pools.pop()
            pools[-1] = (pools[-1][0] + values, pools[-1][1] + members)
    return {row[k]: round(_median(values) - offsets[k], 4) for values, members in pools for k in members}


def _median(values: Sequence[float]) -> float:
    """Return the median; of an even number the value before the middle, so that some wire runs level."""
    return sorted(values)[(len(values) - 1) // 2]
