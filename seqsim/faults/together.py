"""Several faults at once: their patches, their severities taken together, and how likely they meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seqsim.faults.fault import Fault, Kind, Patches, SubMode
from seqsim.network import Move, Patch
from seqsim.parts.part import Severity
from seqsim.quantity import Unit

SECOND = 0.1
"""Faults that a faulty board has on average besides its first, independent of it (our judgement).

Faults that come independently, each with the odds λ p (p its share among single faults), make a set of k with
λ^(k-1) Π p beside a single fault's p: a pair of shares p and q weighs λ p q. With λ = 0.1 one faulty board of twenty
has two. Bandler and Salama (1985) are often quoted with four failures of five in analog circuits being single (from
memory); that counts drifts of values too, which are no second fault here.
"""
KILLS = 0.2
"""Chance that a short has destroyed a part that carries its current beyond what it bears (our judgement)."""

LEAST_EACH = 3
"""Severities of each fault of a grid at least."""

EXCLUSIVE = frozenset({Kind.PART, Kind.SUPPLY, Kind.MISSING, Kind.SHORTED, Kind.MISFIT})
"""Kinds of which one place has one at a time."""


@dataclass(frozen=True, slots=True)
class Grid(Severity):
    """Severities of several faults as one number: the whole part says how many points each has, the rest which."""

    of: tuple[Severity, ...] = ()

    def points(self, count: int) -> NDArray[np.float64]:
        """Return the points of a grid of about ``count``, every fault at as many severities, shape (m,)."""
        each = max(LEAST_EACH, round(count ** (1 / len(self.of))))
        total = each ** len(self.of)
        return np.asarray(each + (np.arange(total) + 0.5) / total)

    @staticmethod
    def shape(at: NDArray[np.float64], count: int) -> tuple[int, ...]:
        """Return the shape of the grid whose ``count`` points are given."""
        each = int(at.flat[0])
        return (each,) * round(math.log(count, each))

    def apart(self, at: float | NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """Return the severity of each fault at points of a grid, each of the shape of ``at``."""
        codes = np.asarray(at, dtype=np.float64)
        each = int(codes.flat[0])
        shape = (each,) * len(self.of)
        which = np.unravel_index(np.int64((codes - each) * each ** len(self.of)), shape)
        return tuple(np.asarray(s.points(each)[k]) for s, k in zip(self.of, which, strict=True))


def can_meet(faults: Sequence[Fault]) -> bool:
    """Tell whether faults can be there at once: one part fails in one way at a time."""
    failed = [fault.place for fault in faults if fault.kind in EXCLUSIVE]
    return len(set(failed)) == len(failed)


def together(faults: Sequence[Fault]) -> SubMode:
    """Return several faults as one mode; what moves pins comes first, so that a contact stays with its pin."""
    ordered = sorted(faults, key=lambda fault: not any(isinstance(p, Move) for p in _sample(fault)))
    return SubMode(name_of(faults), 1.0, _severity(ordered), _patches(ordered))


def name_of(faults: Sequence[Fault]) -> str:
    """Return the name of a set of faults."""
    return " and ".join(fault.name for fault in faults)


def prior_of(faults: Sequence[Fault], second: float = SECOND) -> float:
    """Return the prior of independent faults meeting, relative to that of single faults."""
    return float(np.prod([fault.prior for fault in faults]) * second ** (len(faults) - 1))


def _sample(fault: Fault) -> tuple[Patch, ...]:
    return fault.patches(1.0 if fault.severity is None else float(fault.severity.points(1)[0]))


def _severity(faults: Sequence[Fault]) -> Severity | None:
    severe = [fault.severity for fault in faults if fault.severity is not None]
    if len(severe) < 2:
        return severe[0] if severe else None
    return Grid("severities", Unit.NUMBER, 0.0, 1.0, tuple(severe))


def _patches(faults: Sequence[Fault]) -> Patches:
    severity = _severity(faults)

    def patches(at: float | NDArray[np.float64]) -> tuple[Patch, ...]:
        given = iter(severity.apart(at) if isinstance(severity, Grid) else (np.asarray(at),))
        return tuple(p for fault in faults for p in fault.patches(1.0 if fault.severity is None else next(given)))

    return patches
