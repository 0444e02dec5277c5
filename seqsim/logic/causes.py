"""What decides a level: whatever, changed by itself, would change it. Each candidate is tried in the solver."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from seqsim.logic.candidates import candidates
from seqsim.logic.cause import Cause, What
from seqsim.logic.criterion import FLOATS, Criterion
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Situation

NO_MOVE = 0.02
"""Volts by which a candidate may move a level the wrong way and still help others to change it."""


def causes(situation: Situation, reference: Reference, label: str, criterion: Criterion) -> tuple[Cause, ...]:
    """Return what decides the level at a net or cut-off piece, in the sense of a criterion.

    Each cause changes the outcome by itself; where none does, a smallest set that does so together is returned,
    with ``jointly`` set.
    """
    if situation.oscillates:
        return ()
    now = criterion.outcome(situation)
    idle: list[Cause] = []
    deciding: list[Cause] = []
    for candidate in candidates(situation, reference, label, criterion):
        then = candidate.tried(situation)
        if then is None:
            continue
        tried = _with_result(candidate, then, label, criterion)
        (idle if tried.then == now else deciding).append(tried)
    if any(cause.then != FLOATS for cause in deciding) or (deciding and now == FLOATS):
        return tuple(_without_repeats(deciding))
    # what merely holds a level is not why it is not at the other one
    return (*deciding, *_joint(situation, reference, label, criterion, now, idle))


def _with_result(cause: Cause, then: Situation, label: str, criterion: Criterion) -> Cause:
    return replace(cause, then=criterion.outcome(then), volts_then=then.volts(label))


def _without_repeats(found: list[Cause]) -> Iterator[Cause]:
    """Leave out the path of a part whose far end or state is a cause already."""
    owners = {(cause.branch.owner, cause.branch.pin) for cause in found if cause.what is not What.LIFT}
    for cause in found:
        if cause.what is not What.LIFT or (cause.branch.owner, cause.branch.pin) not in owners:
            yield cause


def _joint(
    situation: Situation,
    reference: Reference,
    label: str,
    criterion: Criterion,
    now: str,
    candidates: list[Cause],
) -> tuple[Cause, ...]:
    """Return a smallest set of candidates that change the outcome together, those that hold the level kept longest."""
    ordered = sorted(candidates, key=lambda cause: (abs(cause.branch.amps), cause.what is not What.LIFT))
    for sign in (-1, 1) if now == "high" else (1, -1):
        helpful = [cause for cause in ordered if _helps(situation, cause, label, sign)]
        chosen = _compatible(helpful)
        then = _together(situation, chosen)
        if then is not None and criterion.outcome(then) != now:
            return _fewest(situation, label, criterion, now, chosen, then)
    for fault in (cause for cause in ordered if cause.what is What.FAULT):
        found = _hidden(situation, reference, label, criterion, now, fault)
        if found:
            return found
    return ()


def _helps(situation: Situation, cause: Cause, label: str, sign: int) -> bool:
    """Tell whether undoing a cause can move the level by ``sign``, alone or once others are undone."""
    if cause.pushes:
        return cause.pushes == sign
    if cause.what is What.LIFT:
        return False
    moved = 0.0 if cause.volts_then is None else cause.volts_then - situation.volts(label)
    return sign * moved > -NO_MOVE


def _hidden(
    situation: Situation, reference: Reference, label: str, criterion: Criterion, now: str, fault: Cause
) -> tuple[Cause, ...]:
    """Return a fault with what would hold the level without it, where either alone is enough."""
    mended = fault.tried(situation)
    if mended is None:
        return ()
    for candidate in candidates(mended, reference, label, criterion):
        then = mended.again(*candidate.undo, without=candidate.drop)
        if then is not None and criterion.outcome(then) != now:
            hidden = replace(candidate, drop=(*candidate.drop, *fault.drop), towards=(), behind=fault.branch.fault)
            both = (fault, hidden)
            outcome, volts = criterion.outcome(then), then.volts(label)
            return tuple(replace(cause, then=outcome, volts_then=volts, jointly=True) for cause in both)
    return ()


def _fewest(
    situation: Situation, label: str, criterion: Criterion, now: str, chosen: list[Cause], then: Situation
) -> tuple[Cause, ...]:
    for cause in tuple(chosen):
        fewer = [other for other in chosen if other is not cause]
        without = _together(situation, fewer)
        if without is not None and criterion.outcome(without) != now:
            chosen, then = fewer, without
    outcome, volts = criterion.outcome(then), then.volts(label)
    return tuple(replace(cause, then=outcome, volts_then=volts, jointly=len(chosen) > 1) for cause in chosen)


def _compatible(chosen: list[Cause]) -> list[Cause]:
    """Keep one way to change each branch: what lifts it speaks last."""
    kept: dict[tuple[str, str, str | None, str | None], Cause] = {}
    for cause in chosen:
        key = (cause.branch.owner, cause.branch.pin, cause.branch.far, cause.row or cause.branch.fault or None)
        if key not in kept or kept[key].what is What.LIFT:
            kept[key] = cause
    return list(kept.values())


def _together(situation: Situation, chosen: Iterable[Cause]) -> Situation | None:
    chosen = list(chosen)
    undo = tuple(patch for cause in chosen for patch in cause.undo)
    drop = tuple(patch for cause in chosen for patch in cause.drop)
    return situation.again(*undo, without=drop)
