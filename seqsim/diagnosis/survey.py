"""What a list of branches shows, reading by reading: each reading is worked out once, and the settled boards are kept.

Most of the work of a prediction is to settle a faulted board. It does not depend on where a meter is put, so a further
reading of a power state begins where the board came to rest.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.branch import Branch, Predictions, carried
from seqsim.diagnosis.conditions import Condition, Desk
from seqsim.network import Bridge, Patch, Source, Variant, vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.plain import active_conductance, gates_of
from seqsim.solver.state import State
from seqsim.solver.system import flatten

if TYPE_CHECKING:
    from seqsim.solver.batch import Solved

FAILED = 2
RESTLESS_VOLTS = 0.05
"""Volts by which a reading swings on a board that oscillates, from which it counts as pulsing (our judgement)."""
MOST_AT_ONCE = 50_000_000
"""Hinges of all items that are settled in one go: the memory that a large board takes, in bytes."""

Key = tuple[str, tuple[Patch, ...], tuple[str, str], str | None, float, float, float]
"""A reading: power state, what is done to the board, tips, the part whose heat is read, and what the meter is."""


@dataclass(frozen=True)
class Column:
    """One reading of every item: volts between the tips, ohms that the meter sees, whether the board is restless.

    ``solved`` (i,) is false where the board has no level in that power state.
    """

    tips: Floats
    ohms: Floats
    restless: Bools
    solved: Bools


class Survey:
    """Predictions of a fixed list of branches, at all their severities, for the readings that were asked for so far.

    ``branch`` and ``severity`` (i,) say which each item is.
    """

    def __init__(self, desk: Desk, branches: Sequence[Branch]) -> None:
        self.desk = desk
        self.branches = tuple(branches)
        self.counts = np.array([len(branch.severities) for branch in branches], dtype=np.int64)
        self.branch = np.repeat(np.arange(len(branches)), self.counts)
        first = np.cumsum(self.counts) - self.counts
        self.severity = np.arange(len(self.branch)) - np.repeat(first, self.counts)
        self.columns: dict[Key, Column] = {}
        self.stored: dict[str, Column] = {}
        """columns read from disk, by the names of their readings"""
        self._settled: dict[tuple[str, tuple[Patch, ...]], Solved] = {}
        self._plain: list[Variant | None] = [None] * len(branches)

    def predictions(self, conditions: Sequence[Condition], readings: int) -> Predictions:
        """Return what so many readings, sorted into conditions, show on every item."""
        shape = (len(self.branch), readings)
        tips, ohms = np.zeros(shape), np.zeros(shape)
        restless = np.zeros(shape, dtype=np.bool_)
        good = np.ones(len(self.branch), dtype=np.bool_)
        for condition in conditions:
            keys = keys_of(condition)
            for key in keys if self.stored else ():
                name = name_of(key)
                if key not in self.columns and name in self.stored:
                    self.columns[key] = self.stored[name]
            missing = [k for k, key in enumerate(keys) if key not in self.columns]
            if missing:
                self._work_out(condition.only(missing))
            for key, reading in zip(keys, condition.readings, strict=True):
                column = self.columns[key]
                tips[:, reading], ohms[:, reading] = column.tips, column.ohms
                restless[:, reading] = column.restless
                good &= column.solved
        return Predictions(self.branch, self.severity, tips, ohms, restless, good & np.isfinite(tips).all(axis=1))

    def _work_out(self, condition: Condition) -> None:
        """Solve all branches in one condition, large boards in several goes, and keep its columns."""
        width = max(len(self.desk.network.owners), 1)
        whole = int(self.counts.sum()) * width <= MOST_AT_ONCE
        parts: list[list[Column]] = []
        for here in [slice(0, len(self.branches))] if whole else self._slices(MOST_AT_ONCE // width):
            plain = self._plain if whole else self._plain[here]
            parts.append(self._part(condition, here, plain, keep=whole))
        for key, columns in zip(keys_of(condition), zip(*parts, strict=True), strict=True):
            self.columns[key] = Column(
                np.concatenate([column.tips for column in columns]),
                np.concatenate([column.ohms for column in columns]),
                np.concatenate([column.restless for column in columns]),
                np.concatenate([column.solved for column in columns]),
            )

    def _slices(self, items: int) -> Iterator[slice]:
        """Yield runs of branches of no more than so many items, or of one branch."""
        begin, held = 0, 0
        for k, count in enumerate(self.counts.tolist()):
            if held and held + count > items:
                yield slice(begin, k)
                begin, held = k, 0
            held += count
        yield slice(begin, len(self.branches))

    def _part(self, condition: Condition, here: slice, plain: list[Variant | None], *, keep: bool) -> list[Column]:
        """Return the columns of one condition for some of the branches."""
        branches, counts = self.branches[here], self.counts[here]
        bench, done = self.desk.benches[condition.state], (condition.state, condition.patches)
        variants = patched(self.desk, branches, [branch.patches for branch in branches], condition, plain)
        hot = any(part is not None for part in condition.heated)
        solved = bench.run(
            variants, starts_of(self.desk, branches, condition.state, variants), condition.probes(variants),
            known=self._settled.get(done), volts=hot,
        )  # fmt: skip
        if keep:
            none = np.zeros((0, 0))
            self._settled.setdefault(done, solved._replace(volts=none, read=none, ohms=none, swing=none))
        # a branch whose patches carry no array has one severity, whatever its number of points
        rows = _spread(variants, counts)
        restless, level = solved.swing[rows] > RESTLESS_VOLTS, solved.steadiness[rows] != FAILED
        tips = solved.read[rows]
        for k, part in enumerate(condition.heated):
            if part is not None:
                tips[:, k] = dissipated(part, variants, solved)[rows]
        return [Column(tips[:, k], solved.ohms[rows, k], restless[:, k], level) for k in range(len(condition.readings))]


def keys_of(condition: Condition) -> list[Key]:
    """Return what tells the readings of a condition from all others."""
    return [
        (condition.state, condition.patches, tips, part, float(siemens), float(volts), float(most))
        for tips, part, siemens, volts, most in zip(
            condition.tips, condition.heated, condition.siemens, condition.volts, condition.most, strict=True
        )
    ]


def name_of(key: Key) -> str:
    """Return a short name of a reading."""
    return hashlib.sha256(repr(key).encode()).hexdigest()[:24]


def patched(
    desk: Desk,
    branches: Sequence[Branch],
    patches: Sequence[tuple[Patch, ...]],
    condition: Condition,
    plain: list[Variant | None],
) -> list[Variant]:
    """Return the patched networks of branches in one condition; ``patches`` are what each of them is by itself.

    What is taken off the board comes first: a fault between two pins stays with the pin that is lifted. What is put on
    it comes last: a wire goes to a pin as a fault leaves it, and not to its pad. ``plain`` keeps the networks to which
    nothing else is done, for the next condition.
    """
    off, on = _off_and_on(condition.patches)
    found = []
    for k, (branch, own) in enumerate(zip(branches, patches, strict=True)):
        extra = branch.extra.get(condition.state, ())
        if condition.patches or extra:
            found.append(vary(desk.network, (*off, *own, *extra, *on)))
            continue
        kept = plain[k] = plain[k] or vary(desk.network, own)
        found.append(kept)
    return found


def _off_and_on(patches: Sequence[Patch]) -> tuple[list[Patch], list[Patch]]:
    """Part what is done to a board into what takes something off it and what puts something on it."""
    on: list[Patch] = [patch for patch in patches if isinstance(patch, Bridge | Source)]
    return [patch for patch in patches if not isinstance(patch, Bridge | Source)], on


def starts_of(desk: Desk, branches: Sequence[Branch], state: str, variants: Sequence[Variant]) -> list[State] | None:
    """Return from where each branch is solved in a power state; nothing where all start from the healthy board."""
    if not any(branch.starts for branch in branches):
        return None
    healthy = desk.benches[state].levels.state
    return [
        carried(branch.starts.get(state, healthy), variant) for branch, variant in zip(branches, variants, strict=True)
    ]


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


def _spread(variants: Sequence[Variant], counts: Ints) -> Ints:
    """Return for each item the row of the solution that belongs to it."""
    own = np.array([variant.severities for variant in variants], dtype=np.int64)
    first = np.cumsum(own) - own
    within = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    return np.asarray(np.repeat(first, counts) + np.where(np.repeat(own == counts, counts), within, 0))
