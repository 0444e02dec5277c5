"""What single faulted boards read, and how their readings move with what spreads: each is worked out once.

A point is a branch at one of its severities. Its readings do not depend on each other, so a further reading of many
points, or many readings of a further point, is all that is ever missing.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from seqsim.diagnosis.branch import Branch
from seqsim.diagnosis.conditions import Condition, Desk
from seqsim.diagnosis.spread import model_latents
from seqsim.diagnosis.survey import FAILED, RESTLESS_VOLTS, Key, keys_of, name_of, patched, starts_of
from seqsim.network import Patch, Variant
from seqsim.network.network import Bools, Floats, Ints
from seqsim.network.reach import reach, shifting
from seqsim.solver.batch import Latents

MOST_NUMBERS, MOST_POINTS = 60_000_000, 20_000
"""Numbers that are kept of all points (a quarter of a gigabyte), and points with their networks, before all are
forgotten."""

Point = tuple[Branch, int]
"""A branch and the number of its severity."""


class Nearby(NamedTuple):
    """Tip volts (p, r) of points, whether the board oscillates there (p, r) and has levels (p,), and the moves.

    ``moves`` (p, r, l) are the change of each reading, in tip volts, for one standard deviation of each latent.
    """

    tips: Floats
    restless: Bools
    good: Bools
    moves: Floats


@dataclass
class PointColumn:
    """One reading of points: tip volts, restless, with a level (p,), moves (p, l); ``known`` (p,) tells of which.

    Moves are many: single precision does.
    """

    tips: Floats
    restless: Bools
    good: Bools
    moves: NDArray[np.float32]
    known: Bools

    @classmethod
    def of(cls, points: int, latents: int) -> Self:
        """Return a column that knows nothing."""
        no = np.zeros(points, dtype=np.bool_)
        return cls(np.zeros(points), no, no.copy(), np.zeros((points, latents), dtype=np.float32), no.copy())

    def take(self, mine: Ints, other: PointColumn, theirs: Ints) -> None:
        """Take over some points of another column of the same reading."""
        for name, array in vars(self).items():
            array[mine] = vars(other)[name][theirs]

    def grow(self, points: int) -> None:
        """Make room for more points."""
        for name, array in vars(self).items():
            wider = np.zeros((points, *array.shape[1:]), dtype=array.dtype)
            wider[: len(array)] = array
            setattr(self, name, wider)


class Points:
    """Points of one circuit, by names that whoever asks gives them, and all that was ever asked of them.

    Parameters
    ----------
    desk
        The circuit; where latents are given, with a network that has their knobs.
    latents
        What spreads; without it nothing moves.
    """

    def __init__(self, desk: Desk, latents: Latents | None = None) -> None:
        self.desk = desk
        self.latents = latents
        self._spread = latents.size if latents else 0
        self._number: dict[Hashable, int] = {}
        self._points: list[Point] = []
        self._plain: list[Variant | None] = []
        """their networks, where nothing is done to the board"""
        self._columns: dict[Key, PointColumn] = {}
        self._before: dict[str, PointColumn] = {}
        self._row: dict[Hashable, int] = {}
        self.worked_out = 0
        """how often something was missing"""

    def remember(self, names: Sequence[Hashable], columns: Mapping[str, PointColumn]) -> None:
        """Take up what was told of points, named in the order of the columns, by the names of readings."""
        self._before, self._row = dict(columns), {name: row for row, name in enumerate(names)}

    def told(self, keys: Sequence[Key], most: int) -> tuple[list[Hashable], dict[str, PointColumn]]:
        """Return the names of the last points of which all these readings are known, and their columns."""
        columns = [self._column(key) for key in keys]
        known = np.ones(len(self._points), dtype=np.bool_)
        for column in columns:
            known &= column.known[: len(known)]
        chosen = np.flatnonzero(known)[-most:]
        names = list(self._number)
        found = {name_of(key): PointColumn.of(len(chosen), self._spread) for key in keys}
        for key, column in zip(keys, columns, strict=True):
            found[name_of(key)].take(np.arange(len(chosen)), column, chosen)
        return [names[k] for k in chosen], found

    @property
    def numbers(self) -> int:
        """How many numbers are kept."""
        return sum(column.moves.size + column.tips.size for column in self._columns.values())

    def at(self, wanted: Mapping[Hashable, Point], conditions: Sequence[Condition], readings: int) -> Nearby:
        """Return what so many readings, sorted into conditions, show at points, in the order of ``wanted``."""
        if self.numbers > MOST_NUMBERS or len(self._points) > MOST_POINTS:
            for each in (self._number, self._points, self._plain, self._columns):
                each.clear()
        for name, point in wanted.items():
            if name not in self._number:
                self._number[name] = len(self._points)
                self._points.append(point)
                self._plain.append(None)
        chosen = np.array([self._number[name] for name in wanted], dtype=np.int64)
        shape = (len(chosen), readings)
        found = Nearby(
            np.zeros(shape), np.zeros(shape, dtype=np.bool_), np.ones(len(chosen), dtype=np.bool_),
            np.zeros((*shape, self._spread)),
        )  # fmt: skip
        for condition in conditions:
            columns = [self._recalled(key, wanted, chosen) for key in keys_of(condition)]
            lacking = ~np.stack([column.known[chosen] for column in columns], axis=1)
            for which in np.unique(lacking[lacking.any(axis=1)], axis=0):
                mine = chosen[(lacking == which).all(axis=1)]
                self._work_out(condition.only(np.flatnonzero(which).tolist()), mine)
            for column, reading in zip(columns, condition.readings, strict=True):
                found.tips[:, reading], found.restless[:, reading] = column.tips[chosen], column.restless[chosen]
                found.moves[:, reading] = column.moves[chosen]
                found.good[:] &= column.good[chosen]
        found.good[:] &= np.isfinite(found.tips).all(axis=1)
        return found

    def _recalled(self, key: Key, wanted: Iterable[Hashable], chosen: Ints) -> PointColumn:
        """Return a column, with what was remembered of the points that are wanted."""
        column = self._column(key)
        if self._before and (before := self._before.get(name_of(key))):
            row = np.array([self._row.get(name, -1) for name in wanted], dtype=np.int64)
            new = (row >= 0) & ~column.known[chosen]
            column.take(chosen[new], before, row[new])
        return column

    def _column(self, key: Key) -> PointColumn:
        column = self._columns.setdefault(key, PointColumn.of(0, self._spread))
        if len(column.known) < len(self._points):
            column.grow(max(len(self._points), len(column.known) * 3 // 2))
        return column

    def _work_out(self, condition: Condition, chosen: Ints) -> None:
        """Solve points in one condition, and keep its columns."""
        self.worked_out += 1
        branches = [self._points[k][0] for k in chosen]
        patches = [branch.patches_at(severity) for branch, severity in (self._points[k] for k in chosen)]
        plain = [self._plain[k] for k in chosen]
        variants = patched(self.desk, branches, patches, condition, plain)
        for k, variant in zip(chosen, plain, strict=True):
            self._plain[k] = variant
        solved = self.desk.benches[condition.state].run(
            variants, starts_of(self.desk, branches, condition.state, variants), condition.probes(variants),
            self.latents, volts=False,
        )  # fmt: skip
        good = solved.steadiness != FAILED
        standing = np.array([self._standing(each) for each in patches]) if self.latents else None
        for k, key in enumerate(keys_of(condition)):
            column = self._columns[key]
            column.tips[chosen], column.restless[chosen] = solved.read[:, k], solved.swing[:, k] > RESTLESS_VOLTS
            if standing is not None:
                column.moves[chosen] = np.nan_to_num(solved.moves[:, k]) * standing
            column.good[chosen], column.known[chosen] = good, True

    def _standing(self, patches: Sequence[Patch]) -> Floats:
        """Return how far (l,) each latent still reaches where a fault has turned its knob."""
        return reach(patches, self._shifting, len(self._keys))

    @cached_property
    def _keys(self) -> tuple[tuple[str, str], ...]:
        return model_latents(self.desk.network)[2]

    @cached_property
    def _shifting(self) -> Mapping[tuple[str, str], int]:
        return shifting(self.desk.network.knobs[key] for key in self._keys)
