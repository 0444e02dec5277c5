"""A node as stages: at each, which devices make it, what these look at, and the function that they make of it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from seqsim.logic.branches import SWITCHED, Branch, Way, branches
from seqsim.logic.candidates import STIFF_OHMS, feeds, following
from seqsim.logic.criterion import FLOATS, BySide
from seqsim.logic.expression import Expression, Row, minimal
from seqsim.logic.inputs import all_inputs, decides, is_rail, leads, takes
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Situation
from seqsim.network import GROUND, Patch, SetGate, Source

MOST_STAGE_INPUTS = 6
MOST_STAGES = 60


@dataclass(frozen=True)
class Stage:
    """One stage: the node that it makes, the devices, the nets and inputs that they look at, the rails they need.

    ``expression`` is over ``looks_at``; None where there is too much to try. ``inverting`` is None where the stage
    rises with some inputs and falls with others, or depends on none.
    """

    label: str
    devices: tuple[str, ...]
    looks_at: tuple[str, ...]
    needs: tuple[str, ...]
    expression: Expression | None

    @property
    def inverting(self) -> bool | None:
        """Tell whether the stage falls when what it looks at rises."""
        senses = set() if self.expression is None else set(self.expression.senses.values())
        return {frozenset({1}): False, frozenset({-1}): True}.get(frozenset(senses))


def stages(situation: Situation, reference: Reference, label: str) -> tuple[Stage, ...]:
    """Return the stages behind a net or cut-off piece, the nearest first; they end at what comes from outside.

    Rails that are needed and made on the board follow the stages that the signal goes through.
    """
    found: list[Stage] = []
    waiting, seen = deque([label]), {label}
    rails: deque[str] = deque()
    inputs = {each.name for each in all_inputs(situation.circuit)}
    supplied = {supply.net for supply in situation.circuit.supplies.values()}
    while (waiting or rails) and len(found) < MOST_STAGES:
        stage = _stage(situation, reference, (waiting or rails).popleft())
        found.append(stage)
        for rail in stage.needs:
            if rail not in seen | supplied:
                seen.add(rail)
                rails.append(rail)
        used = stage.looks_at if stage.expression is None else stage.expression.used
        for there in used:
            if there not in seen and there not in inputs:
                seen.add(there)
                waiting.append(there)
    return tuple(found)


def _stage(situation: Situation, reference: Reference, label: str) -> Stage:
    looks_at: dict[str, None] = {}
    needs: dict[str, None] = {}
    devices: dict[str, None] = {}
    region = {label} if is_rail(situation, label) else {label, *following(situation, reference, label)}
    for here in (label, *(each for each in region if each != label)):
        for branch in branches(situation, here):
            if branch.way in (Way.BASE, Way.ADDED) or takes(situation, branch):
                continue
            for kind, name in _of(situation, branch, here, region):
                (looks_at if kind == "looks at" else needs).setdefault(name)
                if branch.way is not Way.PASSES or kind == "looks at":
                    devices.setdefault(branch.owner)
    names = tuple(name for name in looks_at if name not in needs)
    expression = _function(situation, reference, label, names) if len(names) <= MOST_STAGE_INPUTS else None
    return Stage(label, tuple(devices), names, tuple(needs), expression)


def _of(situation: Situation, branch: Branch, here: str, region: set[str]) -> Iterator[tuple[str, str]]:
    """Yield what a branch looks at, and the rails that it needs."""
    if branch.way in (Way.SUPPLY, Way.CONTACT):
        yield "looks at", branch.owner
    for pin in decides(situation, branch):
        there = situation.label_of.get(situation.node(pin))
        if there is not None and situation.node(there) not in situation.grounds:
            yield "needs" if is_rail(situation, there) else "looks at", there
    there = branch.far_label
    if branch.far is None or there in region or situation.node(there) in situation.grounds:
        return
    if is_rail(situation, there) or leads(situation, branch):
        yield "needs", there
    elif branch.way in SWITCHED or (
        branch.way is Way.PASSES and not is_rail(situation, here) and feeds(situation, branch, here)
    ):
        yield "looks at", there


def _function(situation: Situation, reference: Reference, label: str, names: tuple[str, ...]) -> Expression | None:
    """Return the function of a stage: each net that it looks at is forced low and high, and the node read."""
    side = BySide.at(reference, situation, label)
    true: list[Row] = []
    free: list[Row] = []
    for pattern in range(1 << len(names)):
        on = tuple(bool(pattern >> (len(names) - 1 - k) & 1) for k in range(len(names)))
        forced = [
            p for name, high in zip(names, on, strict=True) for p in _force(situation, reference, name, high=high)
        ]
        then = situation.again(*forced)
        outcome = FLOATS if then is None else side.outcome(then)
        if outcome == "high":
            true.append(on)
        elif outcome == FLOATS:
            free.append(on)
    return minimal(names, true, free)


def _force(situation: Situation, reference: Reference, name: str, *, high: bool) -> Iterator[Patch]:
    """Yield the patches that hold a net at its low or high level, or set a supply or switch."""
    outside = {each.name: each for each in all_inputs(situation.circuit)}
    if name in outside and name not in situation.node_of:
        for gate, on in outside[name].gates(situation.circuit, on=high).items():
            yield SetGate(gate, on)
        return
    if name in outside and situation.circuit.supplies[name].net == name:
        for gate, on in outside[name].gates(situation.circuit, on=high).items():
            yield SetGate(gate, on)
        return
    swing = reference.swing(situation, name)
    yield Source(name, GROUND, swing.high if high else swing.low, STIFF_OHMS)
