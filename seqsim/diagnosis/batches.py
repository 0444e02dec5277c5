"""Tables of hypotheses that come in batches, as readings suggest them: each batch is surveyed once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.diagnosis.branch import Branch, Predictions
from seqsim.diagnosis.cells import Cell
from seqsim.diagnosis.conditions import Desk
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.points import MOST_NUMBERS
from seqsim.diagnosis.steep import Spread
from seqsim.diagnosis.table import Surveyed, Table
from seqsim.network.network import Floats, Ints
from seqsim.readings.measurement import Measurement

MOST_KEPT = 2000
"""Hypotheses that are kept, or as many numbers as of single faults, before all are forgotten."""


class Batches:
    """All hypotheses that were asked for so far, with what is known of them in some power states."""

    def __init__(self, desk: Desk, states: Sequence[str]) -> None:
        self.desk = desk
        self.states = tuple(states)
        self._surveyed: list[Surveyed] = []
        self._place: dict[str, tuple[int, int]] = {}

    def table(self, hypotheses: Sequence[Hypothesis], measurements: Sequence[Measurement]) -> JoinedTable:
        """Return what hypotheses of one mode each show; ``branches`` go by their numbers in ``hypotheses``."""
        if len(self._place) > MOST_KEPT or sum(each.lines.numbers for each in self._surveyed) > MOST_NUMBERS:
            self._surveyed, self._place = [], {}
        fresh = [h for h in hypotheses if h.name not in self._place]
        if fresh:
            self._place |= {h.name: (len(self._surveyed), number) for number, h in enumerate(fresh)}
            self._surveyed.append(Surveyed.of(self.desk, fresh, (), self.states))
        wanted: dict[int, dict[int, int]] = {}
        for k, hypothesis in enumerate(hypotheses):
            batch, number = self._place[hypothesis.name]
            wanted.setdefault(batch, {})[number] = k
        return JoinedTable(
            [
                (Table.of(self.desk, (), (), measurements, self._surveyed[batch]), numbers)
                for batch, numbers in wanted.items()
            ]
        )


@dataclass(frozen=True)
class _Mine:
    """A branch by its table and its number there, and the number of its hypothesis among those wanted."""

    table: int
    branch: int
    hypothesis: int


class JoinedTable:
    """Several tables as one: each with its wanted hypotheses, their numbers in the table and in the whole."""

    def __init__(self, tables: Sequence[tuple[Table, dict[int, int]]]) -> None:
        self.tables = [table for table, _ in tables]
        mine = [
            _Mine(t, b, numbers[branch.hypothesis])
            for t, (table, numbers) in enumerate(tables)
            for b, branch in enumerate(table.branches)
            if branch.hypothesis in numbers
        ]
        # in the order of the hypotheses: what comes out must not depend on which were asked for before
        self._mine = sorted(mine, key=lambda each: each.hypothesis)
        self._number = {(each.table, each.branch): k for k, each in enumerate(self._mine)}
        self.limits: Floats = self.tables[0].limits
        self.latents = self.tables[0].latents
        self.coarse = self._joined([table.coarse for table in self.tables])

    @property
    def branches(self) -> list[Branch]:
        """Return all branches, those that were refined with fine severities."""
        return [
            replace(self.tables[each.table].branches[each.branch], hypothesis=each.hypothesis) for each in self._mine
        ]

    def fine(self, wanted: Ints) -> Predictions:
        """Return the predictions of some branches at fine severities, in the order of their numbers."""
        chosen = {(each.table, each.branch) for each in (self._mine[int(k)] for k in wanted)}
        parts = []
        for t, table in enumerate(self.tables):
            mine = np.array(sorted(b for owner, b in chosen if owner == t), dtype=np.int64)
            parts.append(table.fine(mine) if len(mine) else table.coarse.some(np.zeros(0, dtype=np.int64)))
        return self._joined(parts)

    def spread(self, cells: Sequence[Cell]) -> tuple[Spread, ...]:
        """Return cells with their sensitivities; at a switching point, several for one."""
        found: list[Spread] = []
        for t, table in enumerate(self.tables):
            mine = [(cell, self._mine[cell.branch].branch) for cell in cells if self._mine[cell.branch].table == t]
            spread = table.spread([replace(cell, branch=b) for cell, b in mine])
            found += [replace(s, cell=replace(s.cell, branch=self._number[t, s.cell.branch])) for s in spread]
        return tuple(sorted(found, key=lambda each: each.cell.branch))

    def _joined(self, parts: Sequence[Predictions]) -> Predictions:
        """Return the items of all tables, those of wanted hypotheses, branch by branch under their numbers here."""
        own = []
        for t, part in enumerate(parts):
            number = np.array([self._number.get((t, b), -1) for b in range(len(self.tables[t].branches))])
            here = number[part.branch] >= 0
            own.append(replace(part.some(here), branch=number[part.branch[here]]))
        every = Predictions.together(own)
        return every.some(np.argsort(every.branch, kind="stable"))
