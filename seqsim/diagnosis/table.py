"""What all boards of one circuit would read at one set of places: worked out once, whatever the meter shows there.

Severities are refined, and spreads worked out, where a board's readings first leave room for them; the next board, or
the next value of the same reading, finds them here.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.alike import on_offer
from seqsim.diagnosis.branch import Branch, Predictions
from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.cells import Cell, limits_of
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.left_alike import Looks
from seqsim.diagnosis.points import Nearby, Point, Points
from seqsim.diagnosis.predict import Predictor
from seqsim.diagnosis.spread import model_latents
from seqsim.diagnosis.steep import Spread, lines_of
from seqsim.diagnosis.survey import Survey
from seqsim.network.network import Floats, Ints
from seqsim.readings import METER, Probe, measurement
from seqsim.readings.measurement import Measurement

if TYPE_CHECKING:
    from seqsim.solver.batch import Latents

COARSE_POINTS, FINE_POINTS = 6, 32
"""Severities of a branch: to see whether it is in the running, and then."""
EVEN = 0.1
"""Share of a cell by which readings of one branch may differ and still count as the same at all severities."""


@dataclass
class Surveyed:
    """All branches of a list of hypotheses in some power states, at coarse severities, and those that were refined.

    It depends on the circuit, its list and the power states alone, and serves whatever set of readings comes next.
    """

    coarse: Survey
    fine: list[Survey] = field(default_factory=list)
    place: dict[int, tuple[int, int]] = field(default_factory=dict)
    """for each refined branch its survey among ``fine``, and its number there"""
    between: list[Survey] = field(default_factory=list)
    gap: dict[tuple[int, float], tuple[int, int]] = field(default_factory=dict)
    """for each further severity, by branch and quantile, its survey among ``between`` and its item there"""
    stored: tuple[set[str], int, int, int, int] | None = None
    """names of the readings on disk, how many surveys among ``fine`` and ``between``, and what ``lines`` and ``looks``
    worked out"""
    _looks: dict[tuple[Probe, ...], Looks] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls, desk: Desk, listed: Sequence[Hypothesis], others: Sequence[Hypothesis], states: Sequence[str]
    ) -> Surveyed:
        """Find the branches of all hypotheses; see `Table.of`."""
        branches = branches_of(desk, listed, states, COARSE_POINTS)
        branches += [
            Branch(h, mode.weight, mode, COARSE_POINTS)
            for h, hypothesis in enumerate(others, start=len(listed))
            for mode in hypothesis.modes
        ]
        return cls(Survey(desk, branches))

    @cached_property
    def lines(self) -> Points:
        """Return what points read and how that moves, by branch and quantile, and by latents that are turned there."""
        known, latents, _ = model_latents(self.coarse.desk.network)
        return Points(replace(self.coarse.desk, network=known), latents)

    @cached_property
    def points(self) -> Points:
        """Return what boards with several faults read, each by the items of ``coarse`` that it is made of."""
        return Points(self.coarse.desk)

    def looks(self, offered: tuple[Probe, ...] = ()) -> Looks:
        """Return what points look like to readings on offer: to all that anyone would take, or to these."""
        if offered not in self._looks:
            circuit = self.coarse.desk.circuit
            probes = offered or on_offer(circuit)
            self._looks[offered] = Looks(self.coarse.desk, [measurement(circuit, each, METER) for each in probes])
        return self._looks[offered]

    def refine(self, wanted: Sequence[int]) -> None:
        """Let some branches have fine severities, too."""
        missing = [k for k in wanted if k not in self.place]
        if missing:
            branches = [replace(self.coarse.branches[k], points=FINE_POINTS) for k in missing]
            self.place.update({k: (len(self.fine), number) for number, k in enumerate(missing)})
            self.fine.append(Survey(self.coarse.desk, branches))

    def close(self, wanted: Iterable[tuple[int, float]]) -> None:
        """Let branches have further severities, each named by its branch and quantile."""
        missing: dict[int, list[float]] = {}
        for place in wanted:
            if place not in self.gap:
                missing.setdefault(place[0], []).append(place[1])
        if missing:
            places = ((k, at) for k, where in missing.items() for at in where)
            self.gap.update({place: (len(self.between), item) for item, place in enumerate(places)})
            tried = [replace(self.coarse.branches[k], quantiles=tuple(where)) for k, where in missing.items()]
            self.between.append(Survey(self.coarse.desk, tried))

    def refined(self, k: int) -> Branch:
        """Return a branch with fine severities."""
        survey, number = self.place[k]
        return self.fine[survey].branches[number]


@dataclass
class Table:
    """Predictions of every branch of every hypothesis at a set of readings; it grows as boards ask for more.

    ``branches`` are all, those that were refined with fine severities; ``coarse`` their first predictions.
    """

    desk: Desk
    hypotheses: tuple[Hypothesis, ...]
    predictor: Predictor
    limits: Floats
    branches: list[Branch]
    coarse: Predictions
    healthy: Ints
    latents: Latents
    keys: tuple[tuple[str, str], ...]
    surveyed: Surveyed = field(repr=False)
    _fine: dict[int, Predictions] = field(default_factory=dict, repr=False)
    _between: dict[tuple[int, float], Predictions] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        desk: Desk,
        listed: Sequence[Hypothesis],
        others: Sequence[Hypothesis],
        measurements: Sequence[Measurement],
        surveyed: Surveyed | None = None,
    ) -> Table:
        """Solve every branch at coarse severities.

        Parameters
        ----------
        listed
            Healthy and hypotheses of one mode: they are looked at for what may float or be undecided.
        others
            Hypotheses of many modes, each of which is a branch.
        measurements
            Where a meter is put; what it shows is of no account.
        surveyed
            What is known of the same hypotheses in the same power states.
        """
        predictor = Predictor(desk, conditions(measurements), len(measurements))
        surveyed = surveyed or Surveyed.of(desk, listed, others, [each.state for each in measurements])
        branches = list(surveyed.coarse.branches)
        healthy = np.array([k for k, branch in enumerate(branches) if branch.hypothesis == 0], dtype=np.int64)
        _, latents, keys = model_latents(desk.network)
        return cls(
            desk, (*listed, *others), predictor, limits_of(measurements), branches,
            surveyed.coarse.predictions(predictor.conditions, predictor.readings), healthy, latents, keys, surveyed,
        )  # fmt: skip

    def fine(self, wanted: Ints) -> Predictions:
        """Return the predictions of some branches at fine severities, in the order of their numbers.

        Those that read the same at all coarse ones keep these.
        """
        ordered = sorted({int(k) for k in wanted})
        self._fine |= {k: self.coarse.only(k, k) for k in ordered if k not in self._fine and self._even(k)}
        missing = [k for k in ordered if k not in self._fine]
        if missing:
            self.surveyed.refine(missing)
            found = self._predicted(self.surveyed.fine, {self.surveyed.place[k][0] for k in missing})
            for k in missing:
                survey, number = self.surveyed.place[k]
                self.branches[k] = self.surveyed.refined(k)
                self._fine[k] = found[survey].only(number, k)
        return Predictions.together([self._fine[k] for k in ordered])

    def _even(self, k: int) -> bool:
        """Tell whether a branch reads the same at all severities, as far as a cell goes."""
        low, high = np.searchsorted(self.coarse.branch, [k, k + 1])
        within = np.ptp(self.coarse.tips[low:high], axis=0) <= EVEN * self.limits
        return bool(self.coarse.good[low:high].all() and within.all())

    def closer(
        self, predictions: Predictions, branches: Sequence[Branch], gaps: Mapping[int, Floats]
    ) -> tuple[Predictions, list[Branch]]:
        """Return predictions and branches with further severities.

        ``gaps`` names their quantiles by the branch's number. What is solved is kept, but the table's own severities
        stay: another board is served as if this one had not come before.
        """
        missing = [(k, at) for k, where in gaps.items() for at in where.tolist() if (k, at) not in self._between]
        self.surveyed.close(missing)
        found = self._predicted(self.surveyed.between, {self.surveyed.gap[place][0] for place in missing})
        for place in missing:
            survey, item = self.surveyed.gap[place]
            self._between[place] = found[survey].one(item, place[0])
        added = [(k, at) for k, where in gaps.items() for at in where.tolist()]
        every = Predictions.together([predictions, *(self._between[place] for place in added)])
        where = np.concatenate([b.where for b in (branches[k] for k in _runs(predictions.branch))])
        where = np.concatenate([where, [at for _, at in added]])
        order = np.lexsort([where, every.branch])
        finer, numbers = list(branches), every.branch[order]
        for k in gaps:
            low, high = np.searchsorted(numbers, [k, k + 1])
            finer[k] = replace(branches[k], quantiles=tuple(where[order][low:high].tolist()))
        return every.ordered(order), finer

    def _predicted(self, surveys: Sequence[Survey], wanted: Iterable[int]) -> dict[int, Predictions]:
        """Return what the readings show under some surveys, by their numbers."""
        return {
            k: surveys[k].predictions(self.predictor.conditions, self.predictor.readings) for k in sorted(wanted)
        }  # fmt: skip

    def spread(self, cells: Sequence[Cell], branches: Sequence[Branch] | None = None) -> tuple[Spread, ...]:
        """Return the cells with their sensitivities; at a switching point, several for one.

        ``branches`` are those of the cells where they have further severities than the table's own.
        """
        branches = self.branches if branches is None else branches
        wanted: dict[Hashable, Point] = {}
        for cell in cells:
            branch = branches[cell.branch]
            wanted[cell.branch, float(branch.where[cell.middle])] = branch, cell.middle
        found = lines_of(self.nearby, wanted, self.sensitive.desk.network, self.keys, self.limits) if cells else []
        lines = dict(zip(wanted, found, strict=True))
        return tuple(
            each for cell in cells
            for each in lines[cell.branch, float(branches[cell.branch].where[cell.middle])].spread(cell, self.limits)
        )  # fmt: skip

    def healthy_lines(self) -> tuple[Floats, Floats]:
        """Return what a healthy board reads (r,), and its moves (r, l)."""
        number = int(self.healthy[0])
        branch = self.branches[number]
        found = self.nearby({(number, float(branch.where[0])): (branch, 0)})
        return found.tips[0], found.moves[0]

    def nearby(self, wanted: Mapping[Hashable, Point]) -> Nearby:
        """Return what points read, and how that moves; their names hold for every table of the same hypotheses."""
        return self.surveyed.lines.at(wanted, self.predictor.conditions, self.predictor.readings)

    @cached_property
    def sensitive(self) -> Predictor:
        """Return the predictor whose network has the latents' knobs."""
        known, _, _ = model_latents(self.desk.network)
        return Predictor(replace(self.desk, network=known), self.predictor.conditions, self.predictor.readings)


def _runs(branch: Ints) -> Ints:
    """Return the numbers of branches in the order in which their items stand."""
    return branch[np.flatnonzero(np.diff(branch, prepend=-1))]
