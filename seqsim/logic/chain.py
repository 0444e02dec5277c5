"""The chain behind a level: from the node back to supplies, signals, switches and faults."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from seqsim.logic.branches import Way, branches
from seqsim.logic.cause import Cause, What
from seqsim.logic.causes import causes
from seqsim.logic.criterion import BySide, Criterion
from seqsim.logic.reference import Reference
from seqsim.logic.sides import Sides, sides
from seqsim.logic.situation import Situation

MOST_STEPS = 60
"""Nodes that a chain goes through at most; what lies beyond is said to be left out."""
LEAD_SIEMENS = 0.2
"""A fuse, ferrite or winding that conducts at least this much carries its rail on."""
SIGNAL_OHMS = 50.0
"""A supply behind at least this resistance is a signal, whose level is worth a word (our judgement)."""
UP = 0.1
"""A rail that is short of its volts by less than this share is up, as far as a chain is concerned."""


@dataclass(frozen=True)
class Step:
    """One node of a chain: its level, who pulls, and what decides it.

    ``depth`` counts from the node that was asked for. ``outcome`` is in the sense of ``criterion``.
    """

    label: str
    depth: int
    volts: float
    ohms: float
    floating: bool
    criterion: Criterion
    outcome: str
    high: bool
    sides: Sides
    causes: tuple[Cause, ...]


@dataclass(frozen=True)
class Chain:
    """Steps in the order in which they were reached; ``cut`` tells whether more lies behind."""

    steps: tuple[Step, ...]
    cut: bool

    def step(self, label: str) -> Step | None:
        """Return the step at a node, if the chain goes through it."""
        return next((step for step in self.steps if step.label == label), None)


def chain(situation: Situation, reference: Reference, label: str, *, deep: bool) -> Chain:
    """Return the chain behind the level of a net or cut-off piece.

    Not ``deep``, it stops at rails that are up, and at what a regulator that has its rail up needs.
    """
    waiting: deque[tuple[str, int, Criterion]] = deque(
        [(label, 0, BySide.at(reference, situation, label))]
    )  # fmt: skip
    steps: list[Step] = []
    seen = {label}
    while waiting and len(steps) < MOST_STEPS:
        here, depth, criterion = waiting.popleft()
        step = _step(situation, reference, here, depth, criterion)
        steps.append(step)
        for cause in step.causes:
            for point, after in cause.towards:
                there = situation.label_of.get(situation.node(point))
                if there is None or there in seen or situation.node(there) in situation.grounds:
                    continue
                if not deep and stops(situation, reference, cause, there):
                    continue
                seen.add(there)
                waiting.append((there, depth + 1, after or BySide.at(reference, situation, there)))
    return Chain(tuple(steps), bool(waiting))


def first_step(situation: Situation, reference: Reference, label: str) -> Step:
    """Return the step at a net or cut-off piece by itself."""
    return _step(situation, reference, label, 0, BySide.at(reference, situation, label))


def _step(situation: Situation, reference: Reference, label: str, depth: int, criterion: Criterion) -> Step:
    node = situation.node(label)
    grounded = node in situation.grounds
    side = BySide.at(reference, situation, label)
    return Step(
        label, depth, situation.volts(label), 0.0 if node < 0 else float(situation.ohms[node]),
        situation.floats(label), criterion, criterion.outcome(situation), situation.volts(label) > side.middle,
        Sides(None, None) if grounded else sides(situation, label),
        () if grounded else causes(situation, reference, label, criterion),
    )  # fmt: skip


def is_up(situation: Situation, label: str) -> bool:
    """Tell whether a node is a rail, the net of a supply, or fed from one by a fuse or the like, and as it should."""
    return any(abs(situation.volts(label) - volts) <= UP * abs(volts) for volts in _nominal(situation, label))


def _nominal(situation: Situation, label: str, passed: frozenset[str] = frozenset()) -> Iterator[float]:
    circuit = situation.circuit
    if label in circuit.rails:
        yield circuit.rails[label].volts
    yield from (s.volts for s in circuit.supplies.values() if s.net == label and s.ohms < SIGNAL_OHMS)
    for branch in branches(situation, label):
        siemens = max((float(situation.levels.system.conductance[h]) for h in branch.hinges), default=0.0)
        stiff = branch.way is Way.PASSES and siemens >= LEAD_SIEMENS and branch.owner in circuit.parts
        if stiff and circuit.parts[branch.owner].passive and branch.far_label not in {label, *passed}:
            yield from _nominal(situation, branch.far_label, passed | {label})


def stops(situation: Situation, reference: Reference, cause: Cause, there: str) -> bool:
    """Tell whether a short chain ends before ``there``.

    It does so at a rail that is up, and before an enable that never changes of a regulator whose output is up.
    """
    if is_up(situation, there):
        return True
    part = situation.circuit.parts.get(cause.branch.owner)
    if part is None or cause.branch.way is not Way.CHIP or cause.what is not What.ROW or "OUT" not in part.pins:
        return False
    out = situation.label_of.get(situation.node(part.pin("OUT")))
    works = "IN" in part.pins and out is not None and is_up(situation, out)
    return works and not reference.moves(situation, there)
