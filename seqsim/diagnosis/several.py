"""Several faults at once, where no single one explains what was read.

Sets that the search finds are weighed by their full likelihood, each with the faults for which one stood there. A set
is kept if it explains what no smaller one explains.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.batches import Batches
from seqsim.diagnosis.cells import WORD_UNEXPLAINED, Cell, Scored, cells_of, in_the_running, leading
from seqsim.diagnosis.conditions import Desk
from seqsim.diagnosis.fitted import fitted
from seqsim.diagnosis.grid import grid_cells, is_grid
from seqsim.diagnosis.hypotheses import LISTED_PRIOR, Hypothesis, Sort
from seqsim.diagnosis.killed import killed_by
from seqsim.diagnosis.posterior import posterior
from seqsim.diagnosis.predict import Branch, Predictions
from seqsim.diagnosis.search import Item, Search
from seqsim.diagnosis.table import Table
from seqsim.faults import Fault
from seqsim.faults.together import SECOND, can_meet, name_of, prior_of, together
from seqsim.network.network import Floats, Ints

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

UNEXPLAINED = 3.0
"""Standard deviations by which a reading must miss the best single fault."""
OFTEN_SEVERAL = 0.5
"""Faults beside the first that a history must make likely for pairs to be searched whatever is explained."""
LEADERS = 15
"""Sets that the search finds, the best ones, that get their full likelihood."""
MOST_SETS, MOST_ALIKE = 80, 12
"""Sets of faults, each told apart from those that read the same, that get it: the likeliest of each, then the likeliest
of all. Of the faults that one stands for, so many."""
MOST_FAULTS = 3
GROWN_FROM = 12
"""Pairs that larger sets grow from."""
GAIN = 2.0
"""Natural logarithm by which a set must explain the readings better than any smaller one within it."""


def with_sets(found: Diagnosis, table: Table, second: float = SECOND) -> Diagnosis:
    """Return a diagnosis that counts sets of faults too, where single ones leave something unexplained.

    Parameters
    ----------
    table
        What single faults show at the same readings.
    second
        Faults that a faulty board has on average besides its first.
    """
    if not second or not (second >= OFTEN_SEVERAL or leaves_open(found)):
        return found
    search = Search(found, table)
    weighing = _Weighing(found, search, _sets_of(found.desk, table), second)
    singles = search.singles()
    sets, wider = search.grown(singles, singles), found
    for size in range(2, MOST_FAULTS + 1):
        wider = weighing.weighed(wider, sets)
        if not sets or size == MOST_FAULTS or not leaves_open(wider):
            break
        sets = search.grown(sets[:GROWN_FROM], singles)
    return wider


def _sets_of(desk: Desk, table: Table) -> Batches:
    """Return what is known of sets in the power states of a table."""
    states = tuple(dict.fromkeys(condition.state for condition in table.predictor.conditions))
    ordered = tuple(state for state in desk.circuit.power_states if state in states)
    return desk.sets.setdefault(ordered, Batches(desk, ordered))


def leaves_open(found: Diagnosis) -> bool:
    """Tell whether the best of healthy, listed faults and their sets leaves a reading unexplained."""
    known = [
        (found.posterior.probability[h], best) for h, best in found.posterior.best.items()
        if found.hypotheses[h].sort is not Sort.PLACE
    ]  # fmt: skip
    if not known:
        return True
    best = max(known, key=lambda each: each[0])[1]
    odd = len(best.fit.standard) and float(np.abs(best.fit.standard).max()) > UNEXPLAINED
    return bool(odd) or float(best.words.min(initial=0.0)) < np.log(WORD_UNEXPLAINED)


class _Weighing:
    """Gives the sets that a search has found their full likelihood."""

    def __init__(self, found: Diagnosis, search: Search, sets: Batches, second: float) -> None:
        self.found = found
        self.search = search
        self.sets = sets
        self.second = second

    def weighed(self, before: Diagnosis, items: Sequence[Item]) -> Diagnosis:
        """Return a diagnosis with the sets of these items, each fault by itself, by their full likelihood."""
        hypotheses = self.hypotheses(items, before)
        if not hypotheses:
            return before
        branches, scored = self.scored(hypotheses)
        evidence = _evidence(hypotheses, branches, scored)
        known = {h.name: before.posterior.evidence[k] for k, h in enumerate(before.hypotheses)}
        kept = [
            k for k, h in enumerate(hypotheses)
            if evidence[k] > GAIN + max(known.get(name_of(part), -np.inf) for part in _smaller(h.faults))
        ]  # fmt: skip
        return _merged(before, [hypotheses[k] for k in kept], kept, branches, scored)

    def hypotheses(self, items: Sequence[Item], before: Diagnosis) -> list[Hypothesis]:
        """Return the sets of the best items and of the faults that each of theirs stands for."""
        members = {k: self.search.same(k)[:MOST_ALIKE] for item in items[:LEADERS] for k in item.which}
        dead = killed_by(self.found.desk, [self.search.fault(k) for alike in members.values() for k in alike])
        known = {h.name for h in before.hypotheses}
        best: list[Hypothesis] = []
        others: list[Hypothesis] = []
        for item in items[:LEADERS]:
            mine: list[Hypothesis] = []
            for chosen in product(*(members[k] for k in item.which)):
                faults = [self.search.fault(k) for k in sorted(chosen)]
                name = name_of(faults)
                if len(set(chosen)) == len(chosen) and name not in known and can_meet(faults):
                    known.add(name)
                    mine.append(set_of(faults, max(prior_of(faults, self.second), dead.prior(faults))))
            mine.sort(key=lambda each: -each.prior)
            best += mine[:1]
            others += mine[1:]
        others.sort(key=lambda each: -each.prior)
        return [*best, *others][:MOST_SETS]

    def scored(self, hypotheses: Sequence[Hypothesis]) -> tuple[list[Branch], list[Scored]]:
        """Return the branches of sets in the running, and the fits of their cells."""
        found, noise = self.found, self.found.noise
        table = self.sets.table(hypotheses, found.measurements)
        chosen, _ = leading(table.coarse, noise, len(table.branches))
        predictions = table.fine(chosen)
        branches = table.branches
        wanted, _ = leading(predictions, noise, len(branches))
        cells = list(_cells(predictions, branches, wanted, table.limits))
        likely = in_the_running(cells, _numbered(branches, 1), noise)
        _, fits = fitted(
            likely, table.spread, found.measurements, noise, found.slip, found.largest, found.calibration
        )  # fmt: skip
        return branches, fits


def set_of(faults: Sequence[Fault], prior: float) -> Hypothesis:
    """Return several faults as one hypothesis; its prior is relative to that of single faults."""
    places = tuple(dict.fromkeys(fault.place for fault in faults))
    return Hypothesis(
        name_of(faults), Sort.SEVERAL, " and ".join(places), frozenset().union(*(fault.places for fault in faults)),
        LISTED_PRIOR * prior, (together(faults),), None, tuple(faults),
    )  # fmt: skip


def _cells(predictions: Predictions, branches: Sequence[Branch], chosen: Ints, limits: Floats) -> Iterable[Cell]:
    """Yield cells: runs along one severity, or points of a grid of several."""
    line = np.array([k for k in chosen if not is_grid(branches[k])], dtype=np.int64)
    yield from cells_of(predictions, branches, line, limits)
    for k in chosen:
        if is_grid(branches[k]):
            yield from grid_cells(predictions, branches, int(k), limits)


def _numbered(branches: Sequence[Branch], first: int) -> list[Branch]:
    """Return branches whose hypotheses are numbered from ``first``."""
    return [replace(branch, hypothesis=branch.hypothesis + first) for branch in branches]


def _smaller(faults: Sequence[Fault]) -> list[list[Fault]]:
    """Return what is left of a set without each one of its faults."""
    return [[other for other in faults if other is not fault] for fault in faults]


def _evidence(hypotheses: Sequence[Hypothesis], branches: Sequence[Branch], scored: Sequence[Scored]) -> Floats:
    evidence = np.full(len(hypotheses), -np.inf)
    for each in scored:
        h = branches[each.cell.branch].hypothesis
        evidence[h] = np.logaddexp(evidence[h], each.log + np.log(each.cell.weight))
    return evidence


def _merged(
    before: Diagnosis, hypotheses: Sequence[Hypothesis], kept: Sequence[int], branches: Sequence[Branch],
    scored: Sequence[Scored],
) -> Diagnosis:  # fmt: skip
    """Return a diagnosis to which sets are added; ``kept`` are their numbers in ``branches``."""
    first, offset = len(before.hypotheses), len(before.branches)
    number = {old: first + new for new, old in enumerate(kept)}
    mine = [each for each in scored if branches[each.cell.branch].hypothesis in number]
    fits = [replace(each, cell=replace(each.cell, branch=each.cell.branch + offset)) for each in mine]
    added = [replace(branch, hypothesis=number.get(branch.hypothesis, -1)) for branch in branches]
    everything = (*before.hypotheses, *hypotheses)
    together_ = (*before.branches, *added)
    all_fits = (*before.scored, *fits)
    weighed = posterior(everything, together_, all_fits, before.noise, before.slip)
    return replace(before, hypotheses=everything, branches=together_, scored=all_fits, posterior=weighed)
