"""What every meter would read under every branch: nominal tip voltages, and their spread for those that matter.

Predictions are kept as volts between the tips, for ohms too: there an open circuit is a finite voltage.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.conditions import Condition, Desk
from seqsim.diagnosis.spread import model_latents
from seqsim.faults import SubMode
from seqsim.network import Bridge, Patch, Source, Variant, vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.network.reach import reach, shifting
from seqsim.solver.plain import active_conductance, gates_of
from seqsim.solver.state import State
from seqsim.solver.system import flatten

if TYPE_CHECKING:
    from seqsim.solver.batch import Latents, Solved

FAILED = 2
RESTLESS_VOLTS = 0.05
"""Volts by which a reading swings on a board that oscillates, from which it counts as pulsing (our judgement)."""


@dataclass(frozen=True)
class Branch:
    """One way a hypothesis can look: a mode at ``points`` severities, and what differs in single power states.

    ``extra`` are patches that hold in one power state alone (a floating input seen high); ``starts`` the state from
    which a power state is solved. ``weight`` is its share of the hypothesis. ``quantiles`` say where the severities
    stand in their distribution, in ascending order, if not at ``points`` even ones.
    """

    hypothesis: int
    weight: float
    mode: SubMode
    points: int
    extra: Mapping[str, tuple[Patch, ...]] = field(default_factory=dict)
    starts: Mapping[str, State] = field(default_factory=dict)
    quantiles: tuple[float, ...] = ()

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
        return self.mode.patches(1.0 if self.mode.severity is None else self.severities)


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

    def only(self, items: Bools, branch: int) -> Predictions:
        """Return some items as those of one branch with this number."""
        number = np.full(int(items.sum()), branch, dtype=np.int64)
        return Predictions(
            number, self.severity[items], self.tips[items], self.ohms[items], self.restless[items], self.good[items]
        )

    def ordered(self, order: Ints) -> Predictions:
        """Return the items in another order, branch by branch, their severities numbered through in each."""
        parts = {each.name: getattr(self, each.name)[order] for each in fields(self)}
        first = np.searchsorted(parts["branch"], parts["branch"])
        return Predictions(**{**parts, "severity": np.arange(len(order)) - first})

    @classmethod
    def together(cls, parts: Sequence[Predictions]) -> Predictions:
        """Return the items of several predictions one after another."""
        return cls(*(np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(cls)))


def _off_and_on(patches: Sequence[Patch]) -> tuple[list[Patch], list[Patch]]:
    """Part what is done to a board into what takes something off it and what puts something on it."""
    on: list[Patch] = [patch for patch in patches if isinstance(patch, Bridge | Source)]
    return [patch for patch in patches if not isinstance(patch, Bridge | Source)], on


class Predictor:
    """Runs branches through the conditions of the readings; a variant is worked out once for all power states."""

    def __init__(self, desk: Desk, conditions: Sequence[Condition], readings: int) -> None:
        self.desk = desk
        self.conditions = tuple(conditions)
        self.readings = readings

    def variants(self, branches: Sequence[Branch], condition: Condition) -> list[Variant]:
        """Return the patched networks of branches in one condition.

        What is taken off the board comes first: a fault between two pins stays with the pin that is lifted. What is put
        on it comes last: a wire goes to a pin as a fault leaves it, and not to its pad.
        """
        off, on = _off_and_on(condition.patches)
        return [
            vary(self.desk.network, (*off, *branch.patches, *branch.extra.get(condition.state, ()), *on))
            for branch in branches
        ]

    def nominal(self, branches: Sequence[Branch]) -> Predictions:
        """Return the tip volts of every severity of every branch."""
        counts = np.array([len(branch.severities) for branch in branches], dtype=np.int64)
        total = int(counts.sum())
        branch = np.repeat(np.arange(len(branches)), counts)
        severity = np.concatenate([np.arange(count) for count in counts]) if total else np.zeros(0, dtype=np.int64)
        tips, ohms = np.zeros((total, self.readings)), np.zeros((total, self.readings))
        restless = np.zeros((total, self.readings), dtype=np.bool_)
        good = np.ones(total, dtype=np.bool_)
        plain: list[Variant] | None = None
        for condition in self.conditions:
            if condition.patches or any(b.extra for b in branches):
                variants = self.variants(branches, condition)
            else:
                plain = plain or self.variants(branches, condition)
                variants = plain
            solved = self._run(branches, condition, variants)
            # a branch whose patches carry no array has one severity, whatever its number of points
            spread = _spread(variants, counts)
            tips[:, condition.readings] = solved.read[spread]
            for reading, part in zip(condition.readings, condition.heated, strict=True):
                if part is not None:
                    tips[:, reading] = dissipated(part, variants, solved)[spread]
            ohms[:, condition.readings] = solved.ohms[spread]
            restless[:, condition.readings] = solved.swing[spread] > RESTLESS_VOLTS
            good &= solved.steadiness[spread] != FAILED
        return Predictions(branch, severity, tips, ohms, restless, good & np.isfinite(tips).all(axis=1))

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
        for condition in self.conditions:
            variants = self.variants(branches, condition)
            chosen = [min(s, v.severities - 1) for s, v in zip(at, variants, strict=True)]
            solved = self._run(branches, condition, variants, latents, chosen)
            tips[:, condition.readings] = solved.read
            restless[:, condition.readings] = solved.swing > RESTLESS_VOLTS
            good &= solved.steadiness != FAILED
            moves[:, condition.readings] = solved.moves
        moves = np.nan_to_num(moves) * self._standing(branches, at)[:, None, :]
        return tips, restless, good & np.isfinite(tips).all(axis=1), moves

    def _standing(self, branches: Sequence[Branch], at: Sequence[int]) -> Floats:
        """Return how far (b, l) each latent still reaches where a fault has turned its knob."""
        count = len(self._keys)
        shifts = shifting(self.desk.network.knobs[key] for key in self._keys)
        factors = [reach(branch.patches, shifts, count, s) for branch, s in zip(branches, at, strict=True)]
        return np.array(factors).reshape(len(branches), count)

    @cached_property
    def _keys(self) -> tuple[tuple[str, str], ...]:
        return model_latents(self.desk.network)[2]

    def _run(
        self,
        branches: Sequence[Branch],
        condition: Condition,
        variants: Sequence[Variant],
        latents: Latents | None = None,
        severity: Sequence[int] | None = None,
    ) -> Solved:
        bench = self.desk.benches[condition.state]
        if any(branch.starts for branch in branches):
            starts = [
                carried(branch.starts.get(condition.state, bench.levels.state), variant)
                for branch, variant in zip(branches, variants, strict=True)
            ]
        else:
            starts = None
        return bench.run(variants, starts, condition.probes(variants), latents, severity)


def dissipated(part: str, variants: Sequence[Variant], solved: Solved) -> Floats:
    """Return what a part turns into heat (i,), in watts, for every item of a solution."""
    watts = []
    item = 0
    for variant in variants:
        for severity in range(variant.severities):
            system = flatten(variant, severity)
            volts = np.append(solved.volts[item, : system.nodes], 0.0)
            count = len(system.alive)
            state = State(solved.conducting[item, :count], solved.above[item], solved.ratios[item])
            gates = gates_of(system, variant.network.gate_default, solved.above[item])
            owners = np.array([*variant.network.owners, *variant.port_owners])
            own = owners == part
            amps = active_conductance(system, state, gates) * system.across(volts)
            across = (system.inject_weight * volts[system.inject_at]).sum(axis=1)
            watts.append(float((amps * across)[own].sum()))
            item += 1
    return np.array(watts)


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
    for port, hinge in enumerate(variant.port_of):
        if hinge >= 0:
            conducting[hinge] = state.conducting[base + port]
    return State(conducting, state.above, state.ratios)


def _spread(variants: Sequence[Variant], counts: Ints) -> Ints:
    """Return for each item the row of the solution that belongs to it."""
    own = np.array([variant.severities for variant in variants], dtype=np.int64)
    first = np.cumsum(own) - own
    rows = [
        start + (np.arange(count) if have == count else np.zeros(count, dtype=np.int64))
        for start, have, count in zip(first, own, counts, strict=True)
    ]
    return np.concatenate(rows) if rows else np.zeros(0, dtype=np.int64)
