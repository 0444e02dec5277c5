"""The heights of a layer: order and room are kept, and no other heights lie nearer to what is wanted."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from seqsim.drawing.channels import Bundle, tracks
from seqsim.drawing.heights import GAP, _pooled
from seqsim.drawing.pen import Block

SIZES = st.floats(0.1, 2.0)
WANTED = st.lists(st.floats(-20, 20), min_size=1, max_size=3)


def block(key: str, up: float, down: float) -> Block:
    return Block(key, 1.0, up, down, ())


@given(st.lists(st.tuples(SIZES, SIZES, WANTED), min_size=1, max_size=6), st.randoms(use_true_random=False))
def test_pooled_heights(rows: list[tuple[float, float, list[float]]], random: np.random.RandomState) -> None:
    """Against random other heights with the same order and room: none has a smaller sum of distances."""
    blocks = {str(k): block(str(k), up, down) for k, (up, down, _) in enumerate(rows)}
    wanted = [values for _, _, values in rows]
    found = _pooled(blocks, list(blocks), wanted)
    rooms = [blocks[a].down + GAP + blocks[b].up for a, b in pairwise(blocks)]
    for (a, b), room in zip(pairwise(blocks), rooms, strict=True):
        assert found[a] - found[b] >= room - 1e-3

    def far(heights: list[float]) -> float:
        return sum(abs(y - value) for y, values in zip(heights, wanted, strict=True) for value in values)

    reached = far(list(found.values()))
    for _ in range(20):
        heights = [random.uniform(-20, 20)]
        for room in rooms:
            heights.append(heights[-1] - room - random.choice([0.0, random.uniform(0, 4)]))
        assert reached <= far(heights) + 1e-2


def test_crossing_wires_are_set_apart() -> None:
    """Two nets that exchange their heights get two tracks, so placed that neither runs upon the other."""
    bundles = [Bundle("A", [0.0], [1.0]), Bundle("B", [1.0], [0.0]), Bundle("C", [2.0], [2.0])]
    order = tracks(bundles)
    assert {bundle.net for bundle in order} == {"A", "B"}


def test_a_wire_that_ends_where_another_begins_comes_later() -> None:
    """A leaves to the right at the height at which B comes from the left: B's track must lie left of A's."""
    order = tracks([Bundle("A", [0.0], [1.0]), Bundle("B", [1.0], [2.0])])
    assert [bundle.net for bundle in order] == ["B", "A"]
