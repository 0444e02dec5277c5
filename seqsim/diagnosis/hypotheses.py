"""What a board may have, before any reading: nothing, one fault of the list or several, or something at a place."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from seqsim.circuit import Circuit
from seqsim.faults import Factors, Fault, PlaceHypothesis, SubMode, single_faults, something_at
from seqsim.parts.part import Severity

HEALTHY_PRIOR = 0.05
LISTED_PRIOR = 0.60
PLACE_PRIOR = 0.30
NONE_PRIOR = 0.05
"""Priors found by trial on one circuit with simulated boards; judgement that a measurement supports."""


class Sort(Enum):
    """Sorts of hypotheses."""

    HEALTHY = "healthy"
    LISTED = "listed"
    PLACE = "place"
    SEVERAL = "several"


@dataclass(frozen=True)
class Hypothesis:
    """One explanation of a board, with its prior among all (none of these excluded)."""

    name: str
    sort: Sort
    place: str
    places: frozenset[str]
    prior: float
    modes: tuple[SubMode, ...]
    fault: Fault | None = None
    faults: tuple[Fault, ...] = ()
    """the faults of a set of several"""

    @property
    def severity(self) -> Severity | None:
        """Return the severity of a listed fault."""
        return None if self.fault is None else self.fault.severity


HEALTHY = Hypothesis("", Sort.HEALTHY, "", frozenset(), HEALTHY_PRIOR, (SubMode("healthy", 1.0, None, lambda _: ()),))


def listed(circuit: Circuit, factors: Factors | None = None) -> tuple[Hypothesis, ...]:
    """Return healthy and every single fault of the list."""
    return (
        HEALTHY,
        *(
            Hypothesis(
                fault.name, Sort.LISTED, fault.place, fault.places, LISTED_PRIOR * fault.prior,
                (SubMode(fault.name, 1.0, fault.severity, fault.patches),), fault,
            )
            for fault in single_faults(circuit, factors)
        ),
    )  # fmt: skip


def anything(circuit: Circuit) -> tuple[Hypothesis, ...]:
    """Return something at each part, supply and net."""
    places = something_at(circuit)
    total = sum(place.weight for place in places)
    return tuple(_place(place, PLACE_PRIOR * place.weight / total) for place in places)


def _place(place: PlaceHypothesis, prior: float) -> Hypothesis:
    return Hypothesis(f"{place.place}:something wrong", Sort.PLACE, place.place, place.places, prior, place.modes)
