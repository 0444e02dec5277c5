"""Shares and means of boards, with the interval that so many boards leave."""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

import numpy as np

from seqsim.network.network import Floats

RESAMPLES = 2000


def share(hits: float, count: float, confidence: float = 0.95) -> tuple[float, float, float]:
    """Return a share with its score interval (Wilson, J. Am. Stat. Assoc. 22 (1927) 209; from memory)."""
    if not count:
        return 0.0, 0.0, 1.0
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    at = hits / count
    middle = (at + z * z / (2 * count)) / (1 + z * z / count)
    half = z / (1 + z * z / count) * math.sqrt(at * (1 - at) / count + z * z / (4 * count * count))
    return at, max(middle - half, 0.0), min(middle + half, 1.0)


def share_text(hits: int, count: int) -> str:
    """Return a share with its 95 % interval in words."""
    at, low, high = share(hits, count)
    return f"{at:.3f} ({low:.3f} to {high:.3f}, {hits} of {count})"


def bootstrap(rows: Floats, statistic: Callable[[Floats], float], random: np.random.Generator) -> tuple[float, float]:
    """Return the 95 % interval of a statistic of rows, one a board, which are drawn again with replacement."""
    found = [statistic(rows[random.integers(len(rows), size=len(rows))]) for _ in range(RESAMPLES)]
    low, high = np.quantile(found, [0.025, 0.975])
    return float(low), float(high)
