"""Branches, the ways in which a hypothesis can look, and what meters would read under them.

Predictions are kept as volts between the tips, for ohms too: there an open circuit is a finite voltage.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np

from seqsim.faults import SubMode
from seqsim.network import Patch, Turn, Variant
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.state import State


@dataclass(frozen=True)
class Branch:
    """One way a hypothesis can look: a mode at ``points`` severities, and what differs in single power states.

    ``extra`` are patches that hold in one power state alone (a floating input seen high); ``starts`` the state from
    which a power state is solved. ``weight`` is its share of the hypothesis. ``quantiles`` say where the severities
    stand in their distribution, in ascending order, if not at ``points`` even ones. ``turns`` put what spreads at
    points of its own, on top of the mode.
    """

    hypothesis: int
    weight: float
    mode: SubMode
    points: int
    extra: Mapping[str, tuple[Patch, ...]] = field(default_factory=dict)
    starts: Mapping[str, State] = field(default_factory=dict)
    quantiles: tuple[float, ...] = ()
    turns: tuple[Turn, ...] = ()

    @cached_property
    def severities(self) -> Floats:
        """Return the severities (m,); one where the mode has none."""
        severity = self.mode.severity
        if severity is None:
            return np.ones(1)
        return severity.at(np.array(self.quantiles)) if self.quantiles else severity.points(self.points)

    @cached_property
    def where(self) -> Floats:
        """Return where each severity (m,) stands in the distribution."""
        count = len(self.severities)
        return np.array(self.quantiles) if self.quantiles else (np.arange(count) + 0.5) / count

    @cached_property
    def shares(self) -> Floats:
        """Return the share (m,) of the mode for which each severity stands: from halfway to halfway."""
        halfway = (self.where[1:] + self.where[:-1]) / 2
        return np.diff(halfway, prepend=0.0, append=1.0)

    @cached_property
    def patches(self) -> tuple[Patch, ...]:
        """Return the patches at all severities."""
        return self._patches(self.severities)

    def patches_at(self, number: int) -> tuple[Patch, ...]:
        """Return the patches at one of the severities."""
        return self._patches(self.severities[[min(number, len(self.severities) - 1)]])

    def turned(self, turns: Iterable[Turn]) -> Branch:
        """Return the branch with further turns; its severities are not worked out again."""
        found = copy(self)
        vars(found)["turns"] = (*self.turns, *turns)
        vars(found).pop("patches", None)
        return found

    def _patches(self, severities: Floats) -> tuple[Patch, ...]:
        return (*self.mode.patches(1.0 if self.mode.severity is None else severities), *self.turns)


@dataclass(frozen=True)
class Predictions:
    """Tip volts of all readings under all branches and severities, item by item.

    ``branch`` and ``severity`` (i,) say which; ``tips`` (i, r) are volts, ``ohms`` (i, r) the resistance that the meter
    sees, ``restless`` (i, r) is true where the board oscillates and the reading swings with it; items with a power
    state that was not solved are not ``good`` (i,).
    """

    branch: Ints
    severity: Ints
    tips: Floats
    ohms: Floats
    restless: Bools
    good: Bools

    def some(self, items: Bools | Ints | slice) -> Predictions:
        """Return some items, by a mask, by their numbers, or a run of them."""
        return Predictions(*(getattr(self, each.name)[items] for each in fields(self)))

    def only(self, branch: int, number: int) -> Predictions:
        """Return the items of one branch, under another number; the items stand branch by branch."""
        low, high = np.searchsorted(self.branch, [branch, branch + 1])
        return replace(self.some(slice(low, high)), branch=np.full(high - low, number, dtype=np.int64))

    def one(self, item: int, branch: int) -> Predictions:
        """Return one item as that of a branch with this number."""
        return replace(self.some(slice(item, item + 1)), branch=np.array([branch]))

    def ordered(self, order: Ints) -> Predictions:
        """Return the items in another order, branch by branch, their severities numbered through in each."""
        parts = {each.name: getattr(self, each.name)[order] for each in fields(self)}
        first = np.searchsorted(parts["branch"], parts["branch"])
        return Predictions(**{**parts, "severity": np.arange(len(order)) - first})

    @classmethod
    def together(cls, parts: Sequence[Predictions]) -> Predictions:
        """Return the items of several predictions one after another."""
        return cls(*(np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(cls)))


def carried(state: State, variant: Variant) -> State:
    """Return a state, of the network or of a variant of it, as a start for another variant."""
    base = len(variant.network.owners)
    conducting = np.zeros(base + len(variant.ports.gate), dtype=np.bool_)
    conducting[:base] = state.conducting[:base]
    ported = variant.port_of >= 0
    conducting[base:][ported] = state.conducting[variant.port_of[ported]]
    return State(conducting, state.above, state.ratios)


def on_network(state: State, variant: Variant) -> State:
    """Return the state of a variant as one of its network: a replaced hinge conducts as its port does."""
    base = len(variant.network.owners)
    conducting = state.conducting[:base].copy()
    ported = variant.port_of >= 0
    conducting[variant.port_of[ported]] = state.conducting[base:][ported]
    return State(conducting, state.above, state.ratios)
