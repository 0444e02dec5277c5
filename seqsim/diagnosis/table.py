"""What all boards of one circuit would read at one set of places: worked out once, whatever the meter shows there.

Severities are refined, and spreads worked out, where a board's readings first leave room for them; the next board, or
the next value of the same reading, finds them here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.cells import Cell, limits_of
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.predict import Branch, Predictions, Predictor
from seqsim.diagnosis.spread import model_latents
from seqsim.diagnosis.steep import Spread, spread_out
from seqsim.network.network import Floats, Ints
from seqsim.readings.measurement import Measurement
from seqsim.solver.batch import Latents

COARSE_POINTS, FINE_POINTS = 6, 32
"""Severities of a branch: to see whether it is in the running, and then."""


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
    _fine: dict[int, Predictions] = field(default_factory=dict, repr=False)
    _spread: dict[tuple[int, int], tuple[Spread, ...]] = field(default_factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        desk: Desk,
        listed: Sequence[Hypothesis],
        others: Sequence[Hypothesis],
        measurements: Sequence[Measurement],
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
        """
        predictor = Predictor(desk, conditions(measurements), len(measurements))
        branches = branches_of(desk, listed, [each.state for each in measurements], COARSE_POINTS)
        branches += [
            Branch(h, mode.weight, mode, COARSE_POINTS)
            for h, hypothesis in enumerate(others, start=len(listed))
            for mode in hypothesis.modes
        ]
        healthy = np.array([k for k, branch in enumerate(branches) if branch.hypothesis == 0], dtype=np.int64)
        _, latents, keys = model_latents(desk.network)
        return cls(
            desk, (*listed, *others), predictor, limits_of(measurements), branches, predictor.nominal(branches),
            healthy, latents, keys,
        )  # fmt: skip

    def fine(self, wanted: Ints) -> Predictions:
        """Return the predictions of some branches at fine severities, in the order of their numbers."""
        ordered = sorted({int(k) for k in wanted})
        missing = [k for k in ordered if k not in self._fine]
        if missing:
            refined = [replace(self.branches[k], points=FINE_POINTS) for k in missing]
            found = self.predictor.nominal(refined)
            for number, (k, branch) in enumerate(zip(missing, refined, strict=True)):
                self.branches[k] = branch
                self._fine[k] = found.only(found.branch == number, k)
        return Predictions.together([self._fine[k] for k in ordered])

    def spread(self, cells: Sequence[Cell]) -> tuple[Spread, ...]:
        """Return the cells with their sensitivities; at a switching point, several for one."""
        missing = [cell for cell in cells if (cell.branch, cell.middle) not in self._spread]
        if missing:
            known, _, _ = model_latents(self.desk.network)
            predictor = Predictor(replace(self.desk, network=known), self.predictor.conditions, self.predictor.readings)
            found = spread_out(predictor, self.branches, missing, self.latents, self.keys, self.limits)
            self._spread.update({(cell.branch, cell.middle): each for cell, each in zip(missing, found, strict=True)})
        return tuple(each for cell in cells for each in self._spread[cell.branch, cell.middle])
