"""The wires between neighbouring layers: each net that changes its height gets a track of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

TRACK = 0.22
"""Distance of tracks."""
SIDE = 0.2
"""Room between a layer and the first track."""
SAME = 0.1
"""Wires closer than this would be read as one."""
OVERLAID = 1000
MOST_PASSES = 12


@dataclass
class Bundle:
    """The ends of one net in a channel: heights on the left and on the right side, and of lanes above."""

    net: str
    left: list[float] = field(default_factory=list)
    right: list[float] = field(default_factory=list)
    lanes: list[float] = field(default_factory=list)

    @property
    def level(self) -> bool:
        """Tell whether all ends lie on one height."""
        ends = [*self.left, *self.right, *self.lanes]
        return not self.lanes and max(ends) - min(ends) < 1e-6

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest end."""
        ends = [*self.left, *self.right, *self.lanes]
        return min(ends), max(ends)


def tracks(bundles: Sequence[Bundle]) -> list[Bundle]:
    """Return the bundles that need a track, from left to right, in the order with the fewest crossings found."""
    jogging = [bundle for bundle in bundles if not bundle.level]
    level = [bundle for bundle in bundles if bundle.level]
    best = list(jogging)
    fewest = _cost(best, level)
    for _ in range(MOST_PASSES):
        improved = False
        for k in range(len(best)):
            for place in range(len(best)):
                if place == k:
                    continue
                trial = list(best)
                trial.insert(place, trial.pop(k))
                cost = _cost(trial, level)
                if cost < fewest:
                    best, fewest, improved = trial, cost, True
        if not improved:
            break
    return best


def _cost(order: Sequence[Bundle], level: Sequence[Bundle]) -> int:
    total = 0
    for k, bundle in enumerate(order):
        low, high = bundle.span
        for other in order[k + 1 :]:
            # this track lies left of the other: its right ends cross the other's trunk, whose left ends cross this one
            bottom, top = other.span
            total += sum(bottom < y < top for y in bundle.right)
            total += sum(low < y < high for y in other.left)
            total += OVERLAID * sum(abs(a - b) < SAME for a in bundle.right for b in other.left)
    for bundle in level:
        y = bundle.span[0]
        total += sum(other.span[0] < y < other.span[1] for other in order)
    return total


def width(count: int) -> float:
    """Return the width of a channel with so many tracks."""
    return 2 * SIDE + max(count - 1, 0) * TRACK if count else SIDE


def junctions(bundle: Bundle, x: float) -> list[tuple[float, float]]:
    """Return where more than two strokes of a bundle meet on its track at ``x``."""
    low, high = bundle.span
    found = []
    for y in sorted({*bundle.left, *bundle.right, *bundle.lanes}):
        strokes = (y in bundle.left) + (y in bundle.right) + (y in bundle.lanes) + (y > low) + (y < high)
        if strokes > 2:
            found.append((x, y))
    return found
