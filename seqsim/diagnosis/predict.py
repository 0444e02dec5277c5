"""What every meter would read under every branch: nominal tip voltages, and their spread for those that matter."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING

from seqsim.diagnosis.branch import Branch, Predictions, carried, on_network
from seqsim.diagnosis.conditions import Condition, Desk
from seqsim.diagnosis.points import Nearby, Point, Points
from seqsim.diagnosis.survey import Survey
from seqsim.network.network import Floats

if TYPE_CHECKING:
    from seqsim.solver.batch import Latents

__all__ = ["Branch", "Predictions", "Predictor", "carried", "on_network"]


class Predictor:
    """Runs branches through the conditions of the readings."""

    def __init__(self, desk: Desk, conditions: Sequence[Condition], readings: int) -> None:
        self.desk = desk
        self.conditions = tuple(conditions)
        self.readings = readings

    def nominal(self, branches: Sequence[Branch]) -> Predictions:
        """Return the tip volts of every severity of every branch."""
        return Survey(self.desk, branches).predictions(self.conditions, self.readings)

    def moves(self, branches: Sequence[Branch], at: Sequence[int], latents: Latents) -> Floats:
        """Return the change (b, r, l) of each reading, in tip volts, for one standard deviation of each latent."""
        return self.nearby(branches, at, latents).moves

    def nearby(self, branches: Sequence[Branch], at: Sequence[int], latents: Latents) -> Nearby:
        """Return what branches read, each at one of its severities, and how that moves."""
        wanted: dict[Hashable, Point] = dict(enumerate(zip(branches, at, strict=True)))
        return Points(self.desk, latents).at(wanted, self.conditions, self.readings)
