"""A fault: what is broken, where, how likely, and the patches that make it so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from seqsim.network import Patch
from seqsim.parts.part import Severity, Source

Patches = Callable[[float | NDArray[np.float64]], tuple[Patch, ...]]


class Kind(Enum):
    """What breaks; the value is the word by which `factors` names it."""

    PART = "part"
    SUPPLY = "supply"
    JOINT = "joint"
    COPPER = "copper"
    SHORT = "short"
    LEAK = "leak"
    BRIDGE = "bridge"
    MISSING = "missing"
    SHORTED = "all shorted"
    MISFIT = "misfit"


@dataclass(frozen=True, slots=True)
class Fault:
    """One single fault of a board.

    ``places`` is what counts as "where": a joint counts with its part and its net, copper with its net, a bridge
    with both of its ends; ground is no such place, since everything touches it. ``patches`` gives the patches at a
    severity (a number, or an array of severities; without ``severity`` the argument is ignored). ``prior`` is a
    probability within the list of faults. ``also`` are other names of the same electrical event, whose priors are
    in the sum.
    """

    name: str
    place: str
    places: frozenset[str]
    kind: Kind
    patches: Patches
    severity: Severity | None
    prior: float
    source: Source
    confirm: str
    repair: str
    caution: str
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SubMode:
    """One direction in which a place may deviate, with its weight within the place."""

    name: str
    weight: float
    severity: Severity | None
    patches: Patches


@dataclass(frozen=True, slots=True)
class PlaceHypothesis:
    """Something at a place, whatever it is: wide severities in every direction.

    The weights of ``modes`` add up to one. ``weight`` is the share of the place among all places: one for each part
    and net alike, divided among parts of one package.
    """

    place: str
    places: frozenset[str]
    modes: tuple[SubMode, ...]
    weight: float
