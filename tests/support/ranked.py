"""Readings of a worked example in shorthand, ranked, and what stands first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from worked import Worked

from seqsim.diagnosis import Ranking, rank
from seqsim.readings import Readings, parse_reading

HEALTHY = "healthy"


@dataclass(frozen=True)
class Ranked:
    """A ranking with its look-alike groups by number; a healthy board counts as the fault `healthy`."""

    ranking: Ranking
    groups: dict[int, dict[str, float]]

    def first(self) -> dict[str, float]:
        """Return the faults of the group that stands first, with their probabilities."""
        return self.groups[self.order()[0]]

    def order(self) -> list[int]:
        """Return the numbers of the groups in the order of `where`."""
        return [where.group for where in self.ranking.where if where.group >= 0]

    def group_of(self, fault: str) -> int:
        """Return the number of the group that a fault belongs to."""
        return next(number for number, faults in self.groups.items() if fault in faults)


def ranked(example: Worked, readings: Iterable[str]) -> Ranked:
    """Rank an example's faults by readings in shorthand; the first of `where` must be a group, no mere place."""
    parsed = tuple(parse_reading(example.circuit, reading) for reading in readings)
    ranking = rank(example.circuit, Readings(readings=parsed))
    groups: dict[int, dict[str, float]] = {}
    for each in ranking.hypotheses:
        if each.group >= 0:
            groups.setdefault(each.group, {})[" + ".join(each.faults) or HEALTHY] = each.probability
    assert ranking.where[0].group >= 0
    return Ranked(ranking, groups)
