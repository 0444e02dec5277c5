"""Shares and means of boards, with the interval that so many boards leave."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.stats import binomtest

from seqsim.network.network import Floats

RESAMPLES = 2000


def share(hits: int, count: int, confidence: float = 0.95) -> tuple[float, float, float]:
    """Return a share with its exact interval (Clopper and Pearson, as SciPy has it)."""
    if not count:
        return 0.0, 0.0, 1.0
    interval = binomtest(hits, count).proportion_ci(confidence, method="exact")
    return hits / count, float(interval.low), float(interval.high)


def share_text(hits: int, count: int) -> str:
    """Return a share with its 95 % interval in words."""
    at, low, high = share(hits, count)
    return f"{at:.3f} ({low:.3f} to {high:.3f}, {hits} of {count})"


def bootstrap(rows: Floats, statistic: Callable[[Floats], float], random: np.random.Generator) -> tuple[float, float]:
    """Return the 95 % interval of a statistic of rows, one a board, which are drawn again with replacement."""
    found = [statistic(rows[random.integers(len(rows), size=len(rows))]) for _ in range(RESAMPLES)]
    low, high = np.quantile(found, [0.025, 0.975])
    return float(low), float(high)
