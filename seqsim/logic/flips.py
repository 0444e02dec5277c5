"""The smallest changes that would flip a node: fewest devices first, then least volts at their controls, all tried."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from seqsim.logic.branches import Way
from seqsim.logic.candidates import STIFF_OHMS
from seqsim.logic.cause import Cause, What
from seqsim.logic.chain import Chain, Step, chain
from seqsim.logic.criterion import FLOATS, BySide
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Situation
from seqsim.network import GROUND, Patch, Source

HALVINGS = 8
"""Halvings by which the least change at a control is found: to 1/256 of its range."""
BEYOND_JUNCTION = 1.2
BEYOND_THRESHOLD = 5.0
"""How far (V) beyond emitter and source a control is moved at most."""
MARGIN = 0.005
"""Share of a threshold, and volts at least, by which an input is moved beyond it."""
MOST_FLIPS = 4


@dataclass(frozen=True)
class Change:
    """One thing that is changed: a control forced from ``volts`` to ``to_volts``, or a supply, switch or fault."""

    what: str
    part: str
    place: str
    volts: float
    to_volts: float | None
    undo: tuple[Patch, ...]
    drop: tuple[Patch, ...] = ()

    @property
    def moved(self) -> float:
        """Volts by which a control is moved; zero where there is none."""
        return 0.0 if self.to_volts is None else abs(self.to_volts - self.volts)


@dataclass(frozen=True)
class Flip:
    """Changes that together flip the node, and what it reads then."""

    changes: tuple[Change, ...]
    volts: float
    outcome: str


def flips(situation: Situation, reference: Reference, links: Chain) -> tuple[Flip, ...]:
    """Return the smallest changes that flip the first node of a chain, from what the chain says.

    Where nothing does while the board has its faults, they are changes beside the mended fault.
    """
    found = _found(situation, links)
    for fault in () if found else dict.fromkeys(situation.origins):
        drop = tuple(p for p, origin in zip(situation.patches, situation.origins, strict=True) if origin == fault)
        mended = situation.again(without=drop) if fault else None
        if mended is not None and links.steps[0].label in mended.node_of:
            first = Change("fault", fault, "", links.steps[0].volts, None, (), drop)
            side, now = links.steps[0].criterion, links.steps[0].outcome
            alone = _tried(situation, side, now, (first,)) if isinstance(side, BySide) else None
            if alone is not None or (isinstance(side, BySide) and side.outcome(mended) != now):
                found += () if alone is None else (alone,)
                continue
            behind = chain(mended, reference, links.steps[0].label, deep=False)
            found += tuple(Flip((first, *flip.changes), flip.volts, flip.outcome) for flip in _found(mended, behind))
    return found


def _found(situation: Situation, links: Chain) -> tuple[Flip, ...]:
    target = links.steps[0]
    side = target.criterion
    if not isinstance(side, BySide) or situation.oscillates:
        return ()
    now = side.outcome(situation)
    found: list[Flip] = []
    outside: list[Change] = []
    done: set[tuple[str, str]] = set()
    for step in links.steps:
        for cause in step.causes:
            for change in _changes(situation, step, cause, side, now):
                if (change.part, change.place) in done:
                    continue
                done.add((change.part, change.place))
                if change.what in OUTSIDE:
                    outside.append(change)
                flip = _tried(situation, side, now, (change,))
                if flip is not None:
                    found.append(flip)
    if outside and not any(flip.changes[0].what in OUTSIDE for flip in found):
        found += _together(situation, side, now, outside)
    kept: dict[tuple[tuple[str, str, bool], ...], Flip] = {}
    for flip in sorted(found, key=_size):
        # of two devices that one net turns over, the one that needs less tells it
        key = tuple((c.what, c.place, c.to_volts is not None and c.to_volts > c.volts) for c in flip.changes)
        kept.setdefault(key, flip)
    return tuple(kept.values())


def _size(flip: Flip) -> tuple[int, bool, float]:
    """Order flips: the fewest changes first, repairs after what the board has, then volts at the control."""
    return len(flip.changes), flip.changes[0].what == "fault", flip.changes[0].moved


OUTSIDE = ("apply", "take away", "open", "close")
"""Changes that need no probe: supplies, signals and switches."""


def _tried(situation: Situation, side: BySide, now: str, changes: tuple[Change, ...]) -> Flip | None:
    undo = tuple(patch for change in changes for patch in change.undo)
    drop = tuple(patch for change in changes for patch in change.drop)
    then = situation.again(*undo, without=drop)
    if then is None:
        return None
    outcome = side.outcome(then)
    if outcome in (now, FLOATS):
        return None
    return Flip(changes, then.volts(side.label), outcome)


def _together(situation: Situation, side: BySide, now: str, outside: list[Change]) -> Iterator[Flip]:
    """Yield the fewest supplies and switches that flip the node together, if all of them do."""
    chosen = tuple(outside)
    best = _tried(situation, side, now, chosen)
    if best is None:
        return
    for change in outside:
        fewer = tuple(other for other in chosen if other is not change)
        flip = _tried(situation, side, now, fewer) if fewer else None
        if flip is not None:
            chosen, best = fewer, flip
    yield best


def _changes(situation: Situation, step: Step, cause: Cause, side: BySide, now: str) -> Iterator[Change]:
    branch = cause.branch
    if cause.behind:
        return
    word = WORDS.get(cause.what)
    if word is not None:
        part = branch.fault or branch.owner
        yield Change(word, part, branch.pin, step.volts, None, cause.undo, cause.drop)
    elif cause.what in (What.ON, What.OFF) and branch.way in (Way.BIPOLAR, Way.FIELD):
        pin = cause.towards[0][0]
        yield from _forced(situation, branch.owner, pin, _limit(situation, cause, pin), side, now)
    elif cause.what is What.ROW and cause.towards and cause.row is not None:
        for pin, _ in cause.towards:
            beyond = _beyond(situation, branch.owner, cause.row, pin)
            if beyond is not None:
                place = situation.label_of[situation.node(pin)]
                patch = Source(place, GROUND, beyond, STIFF_OHMS)
                yield Change("force", branch.owner, place, situation.volts(pin), beyond, (patch,))


WORDS = {
    What.APPLIED: "take away", What.ABSENT: "apply", What.CLOSED: "open", What.OPEN: "close", What.FAULT: "fault",
}  # fmt: skip


def _limit(situation: Situation, cause: Cause, pin: str) -> float:
    """The level beyond which a control is not moved: the emitter or source to turn it off, some volts past it else."""
    part = situation.circuit.parts[cause.branch.owner]
    bipolar = cause.branch.way is Way.BIPOLAR
    origin = situation.volts(part.pin("E" if bipolar else "S"))
    if cause.what is What.ON:
        return origin
    del pin
    sign = float(getattr(part, "sign", 1))
    further = BEYOND_JUNCTION if bipolar else float(getattr(part, "threshold", 0.0)) + BEYOND_THRESHOLD
    return origin + sign * further


def _forced(situation: Situation, owner: str, pin: str, limit: float, side: BySide, now: str) -> Iterator[Change]:
    """Yield the least move of a control towards its limit that flips the node."""
    node = situation.node(pin)
    if node in situation.grounds or node not in situation.label_of:
        return
    place, start = situation.label_of[node], situation.volts(pin)

    def change(volts: float) -> Change:
        return Change("force", owner, place, start, volts, (Source(place, GROUND, volts, STIFF_OHMS),))

    if abs(limit - start) < MARGIN or _tried(situation, side, now, (change(limit),)) is None:
        return
    short, enough = start, limit
    for _ in range(HALVINGS):
        middle = (short + enough) / 2
        if _tried(situation, side, now, (change(middle),)) is None:
            short = middle
        else:
            enough = middle
    yield change(enough)


def _beyond(situation: Situation, owner: str, name: str, pin: str) -> float | None:
    """Volts to which a terminal of a row has to go to be on the other side of the row's threshold."""
    found = threshold_at(situation, owner, name, pin)
    if found is None:
        return None
    volts, rising = found
    margin = max(MARGIN, MARGIN * abs(volts))
    return volts + margin if rising else volts - margin


def threshold_at(situation: Situation, owner: str, name: str, pin: str) -> tuple[float, bool] | None:
    """Return the volts at a terminal at which a row changes its side, and whether it has to rise for that."""
    network, system = situation.network, situation.levels.system
    rows = system.variant.rows
    number = next((k for k in network.rows_of.get(owner, ()) if network.row_names[k] == name), None)
    if number is None:
        return None
    above = bool(situation.levels.state.above[number])
    at = (rows.fall_at if above else rows.rise_at)[number]
    weight = (rows.fall_weight if above else rows.rise_weight)[number]
    edge = float((system.falling if above else system.rising)[number])
    node = situation.node(pin)
    here = float(weight[at == node].sum())
    if not here:
        return None
    rest = float((weight * situation.levels.volts[at])[at != node].sum())
    return (edge - rest) / here, above == (here < 0)
