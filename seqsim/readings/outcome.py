"""What a reading says about the value that a meter would have shown: a number, a zone, or a condition."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_erfc = np.vectorize(math.erfc, otypes=[np.float64])


def normal_below(z: ArrayLike) -> Floats:
    """Return the chance that a standard normal value lies below ``z``."""
    return np.asarray(0.5 * _erfc(-np.asarray(z, dtype=np.float64) / math.sqrt(2)))


def below(edge: float, edge_sd: float, mean: ArrayLike, sd: ArrayLike) -> Floats:
    """Return the chance that a Gaussian value lies below an edge that is itself only known to ``edge_sd``."""
    at, spread = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64))
    if math.isinf(edge):
        return np.full(at.shape, float(edge > 0))
    width = np.maximum(np.hypot(spread, edge_sd), 1e-12 + 1e-9 * abs(edge))
    return normal_below(np.clip((edge - at) / width, -1e3, 1e3))


@dataclass(frozen=True, slots=True)
class Number:
    """A value was read; ``sd`` is what its writing leaves open (last digit, range, `about`), without the meter's."""

    value: float
    sd: float


@dataclass(frozen=True, slots=True)
class Zone:
    """A word was read that stands for values from ``low`` to ``high``.

    ``blur`` is the standard deviation of the edges as a share of them. With ``of_largest`` the edges are shares of
    the largest value that any hypothesis predicts there.
    """

    low: float
    high: float
    blur: float = 0.0
    of_largest: bool = False

    def holds(self, value: ArrayLike, largest: float = 1.0) -> NDArray[np.bool_]:
        """Tell whether values lie in the zone; ``largest`` matters only with ``of_largest``."""
        scale = largest if self.of_largest else 1.0
        at = np.asarray(value, dtype=np.float64)
        return np.asarray((at >= self.low * scale) & (at < self.high * scale))

    def probability(self, mean: ArrayLike, sd: ArrayLike, largest: float = 1.0) -> Floats:
        """Return the chance that a Gaussian value lies in the zone, its edges blurred."""
        low, high = (edge * (largest if self.of_largest else 1.0) for edge in (self.low, self.high))
        return below(high, self.blur * abs(high), mean, sd) - below(low, self.blur * abs(low), mean, sd)


@dataclass(frozen=True, slots=True)
class Condition:
    """A word was read that names a condition of the node or of the board: ``floating``, ``pulsing``."""

    name: str


Outcome = Number | Zone | Condition
