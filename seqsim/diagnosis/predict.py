"""What every meter would read under every branch: nominal tip voltages, and their spread for those that matter."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.branch import Branch, Predictions, carried, on_network
from seqsim.diagnosis.conditions import Condition, Desk
from seqsim.diagnosis.spread import model_latents
from seqsim.diagnosis.survey import FAILED, RESTLESS_VOLTS, Survey, patched, starts_of
from seqsim.network import Patch, Variant
from seqsim.network.network import Bools, Floats
from seqsim.network.reach import reach, shifting

if TYPE_CHECKING:
    from seqsim.solver.batch import Latents

__all__ = ["Branch", "Predictions", "Predictor", "carried", "on_network"]


class Predictor:
    """Runs branches through the conditions of the readings; a variant is worked out once for all power states."""

    def __init__(self, desk: Desk, conditions: Sequence[Condition], readings: int) -> None:
        self.desk = desk
        self.conditions = tuple(conditions)
        self.readings = readings

    def nominal(self, branches: Sequence[Branch]) -> Predictions:
        """Return the tip volts of every severity of every branch."""
        return Survey(self.desk, branches).predictions(self.conditions, self.readings)

    def moves(self, branches: Sequence[Branch], at: Sequence[int], latents: Latents) -> Floats:
        """Return the change (b, r, l) of each reading, in tip volts, for one standard deviation of each latent."""
        return self.nearby(branches, at, latents)[3]

    def nearby(
        self, branches: Sequence[Branch], at: Sequence[int], latents: Latents
    ) -> tuple[Floats, Bools, Bools, Floats]:
        """Return tips (b, r), whether the board oscillates (b, r), is solved (b,), and the moves (b, r, l).

        Each branch is taken at one of its severities.
        """
        shape = (len(branches), self.readings)
        tips, restless = np.zeros(shape), np.zeros(shape, dtype=np.bool_)
        good = np.ones(len(branches), dtype=np.bool_)
        moves = np.zeros((*shape, latents.size))
        plain: list[Variant | None] = [None] * len(branches)
        patches = [branch.patches_at(severity) for branch, severity in zip(branches, at, strict=True)]
        for condition in self.conditions:
            variants = patched(self.desk, branches, patches, condition, plain)
            starts = starts_of(self.desk, branches, condition.state, variants)
            bench = self.desk.benches[condition.state]
            solved = bench.run(variants, starts, condition.probes(variants), latents, volts=False)
            tips[:, condition.readings] = solved.read
            restless[:, condition.readings] = solved.swing > RESTLESS_VOLTS
            good &= solved.steadiness != FAILED
            moves[:, condition.readings] = solved.moves
        moves = np.nan_to_num(moves) * self._standing(patches)[:, None, :]
        return tips, restless, good & np.isfinite(tips).all(axis=1), moves

    def _standing(self, patches: Sequence[tuple[Patch, ...]]) -> Floats:
        """Return how far (b, l) each latent still reaches where a fault has turned its knob."""
        count = len(self._keys)
        shifts = shifting(self.desk.network.knobs[key] for key in self._keys)
        return np.array([reach(each, shifts, count) for each in patches]).reshape(len(patches), count)

    @cached_property
    def _keys(self) -> tuple[tuple[str, str], ...]:
        return model_latents(self.desk.network)[2]
