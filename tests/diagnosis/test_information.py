"""Expected information as a pure function of predictions."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqsim.diagnosis.information import entropy, expected_entropy, information, outlook, spans

TWO = np.array([0.5, 0.5])
GROUPS = np.array([0, 1])


def quadrature(distance: float) -> float:
    """Return the information (bits) of two groups at ±distance with unit spread: 1 − E log2(1 + e^(−2d(d + z)))."""
    z = np.linspace(-9, 9, 20001)
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    return 1 - float((density * np.log1p(np.exp(-2 * distance * (distance + z)))).sum() * (z[1] - z[0])) / math.log(2)


@pytest.mark.parametrize("distance", [0.25, 0.5, 1.0, 2.0, 4.0])
def test_two_groups_apart(distance: float) -> None:
    """Two groups at a distance tell what a binary symmetric signal in Gaussian noise carries; 0.486 bit at 0 dB.

    The closed integral is that of the binary-input Gaussian channel (textbook; 0.486 bit from memory).
    """
    seen = outlook(TWO, GROUPS, np.array([-distance, distance]), np.ones(2))
    assert seen.bits == pytest.approx(quadrature(distance), abs=2e-3)
    if distance == 1.0:
        assert seen.bits == pytest.approx(0.486, abs=2e-3)


def test_what_reads_the_same_tells_nothing() -> None:
    """Equal predictions tell nothing, and so does one group alone."""
    assert outlook(TWO, GROUPS, np.ones(2), np.ones(2)).bits == pytest.approx(0, abs=1e-9)
    assert outlook(TWO, np.zeros(2, dtype=np.int64), np.array([0.0, 9.0]), np.ones(2)).bits == pytest.approx(
        0, abs=1e-9
    )


def test_a_slip_costs_a_little() -> None:
    """A reading that may be a slip tells less than a whole bit, and not much less."""
    sure = outlook(TWO, GROUPS, np.array([0.0, 5.0]), np.full(2, 0.01))
    slipping = outlook(TWO, GROUPS, np.array([0.0, 5.0]), np.full(2, 0.01), slip=0.01)
    assert sure.bits == pytest.approx(1, abs=1e-3)
    assert 0.9 < slipping.bits < 0.99


@given(st.lists(st.tuples(st.floats(0.01, 1), st.integers(0, 3), st.floats(-5, 5), st.floats(0.005, 2)), min_size=1))
def test_bounds(ways: list[tuple[float, int, float, float]]) -> None:
    """A reading never tells more than there is to know; a table adds up to one, and so do its ranges."""
    weight, group, mean, wide = (np.array(column) for column in zip(*ways, strict=True))
    weight = weight / weight.sum()
    seen = outlook(weight, group, mean, wide, groups=4)
    prior = np.array([weight[group == g].sum() for g in range(4)])
    assert seen.table.sum(axis=1) == pytest.approx(prior, abs=1e-9)
    assert -1e-9 <= seen.bits <= entropy(prior) + 1e-9
    assert expected_entropy(seen.table) + information(seen.table) == pytest.approx(entropy(prior), abs=1e-9)
    ranges = spans(seen)
    assert sum(span.probability for span in ranges) == pytest.approx(1)
    assert all(a.end == b.start for a, b in itertools.pairwise(ranges))


def test_ranges_part_where_groups_part() -> None:
    """Three groups at three levels give three ranges, each with its level and its group."""
    seen = outlook(np.array([0.2, 0.3, 0.5]), np.array([0, 1, 2]), np.array([0.0, 1.5, 3.3]), np.full(3, 0.02))
    ranges = spans(seen)
    assert [int(np.argmax(span.share)) for span in ranges] == [0, 1, 2]
    for span, level in zip(ranges, (0.0, 1.5, 3.3), strict=True):
        assert span.low == pytest.approx(level - 0.041, abs=0.015)
        assert span.high == pytest.approx(level + 0.041, abs=0.015)
