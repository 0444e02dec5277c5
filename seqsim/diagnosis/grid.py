"""Cells of a branch with several severities: each point of their grid is one, as wide as the way to its neighbours."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from seqsim.diagnosis.cells import CONTINUOUS, Cell
from seqsim.diagnosis.predict import Branch, Predictions
from seqsim.faults.together import Grid
from seqsim.network.network import Bools, Floats


def is_grid(branch: Branch) -> bool:
    """Tell whether a branch has several severities."""
    return isinstance(branch.mode.severity, Grid)


def grid_cells(predictions: Predictions, branches: Sequence[Branch], number: int, limits: Floats) -> Iterator[Cell]:
    """Yield the cells of one branch; ``limits`` (r,) say how far a reading may move within one."""
    branch = branches[number]
    low, high = np.searchsorted(predictions.branch, [number, number + 1])
    shape = Grid.shape(branch.severities, high - low)
    tips = predictions.tips[low:high].reshape(*shape, -1)
    good = predictions.good[low:high].reshape(shape)
    share = branch.weight / max(int(good.sum()), 1)
    for k, at in enumerate(np.ndindex(shape)):
        if good[at]:
            apart = _apart(tips, good, at, limits)
            restless = predictions.restless[low + k].astype(np.float64)
            yield Cell(number, share, k, predictions.ohms[low + k], tips[at], apart, restless, (k, k))


def _apart(tips: Floats, good: Bools, at: tuple[int, ...], limits: Floats) -> Floats:
    """Return a root (r, m) of the covariance that half the way to each neighbour adds."""
    ways = []
    for axis in range(len(at)):
        for step in (-1, 1):
            near = tuple(place + step * (k == axis) for k, place in enumerate(at))
            if 0 <= near[axis] < good.shape[axis] and good[near]:
                way = tips[near] - tips[at]
                if (np.abs(way) <= CONTINUOUS * limits).all():
                    ways.append(way / np.sqrt(24))
    return np.array(ways).reshape(len(ways), tips.shape[-1]).T
