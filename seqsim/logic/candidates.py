"""Whatever could decide a level: a far end, a path, what switches it, what a chip reads, a fault."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from seqsim.logic.branches import SWITCHED, Branch, Way, branches, capability
from seqsim.logic.cause import Cause, What
from seqsim.logic.criterion import ByRow, ByTransistor, Criterion
from seqsim.logic.reference import ON_JUNCTION, ON_OVERDRIVE, Reference
from seqsim.logic.situation import Situation
from seqsim.network import GROUND, Bridge, Disable, Exchange, Move, Patch, RowClass, SetGate, SetSide, Source, Turn

STIFF_OHMS = 0.01
"""Source resistance (Ω) by which a point is held at a level while a candidate is tried."""
BRIDGE_OHMS = 10.0
"""What stands for an optocoupler that is turned on (Ω): about a small transistor in saturation."""
LEAST_JUNCTION = 0.45
"""A junction that never has more volts than this on the healthy board is never on there."""
LEAST_AMPS = 1e-6
"""A transistor that can carry less than this is off (our judgement)."""
BETWEEN = 0.2
"""A far end within this share of its swing from one of its ends is at that end."""
LONGEST_WAY = 3
"""Parts through which what follows a node is searched for things that could decide it."""


def candidates(situation: Situation, reference: Reference, label: str, criterion: Criterion) -> Iterator[Cause]:
    """Yield what could matter at a node, and at the nodes that only follow it."""
    region = following(situation, reference, label)
    yield from _faults(situation, [label, *region])
    done: set[tuple[str, What, int]] = set()
    for branch in branches(situation, label):
        if _reads(situation, branch, criterion):
            continue
        for cause in _of_branch(situation, reference, branch, label):
            # two branches of one part that end at the same pin are changed by the same patches
            key = (branch.far or branch.pin, cause.what, cause.pushes)
            if cause.what is What.ROW:
                key = (f"{branch.owner} {cause.row}", cause.what, cause.pushes)
            if cause.what in (What.FAR, What.ROW) and key in done:
                continue
            done.add(key)
            yield cause
    for there, via in region.items():
        for branch in branches(situation, there):
            for cause in _offollowing(situation, reference, branch, via):
                key = (f"{branch.owner} {cause.row}", cause.what, cause.pushes)
                if key not in done:
                    done.add(key)
                    yield replace(cause, via=via)


def _offollowing(situation: Situation, reference: Reference, branch: Branch, via: tuple[str, ...]) -> Iterator[Cause]:
    """Yield what could matter through the parts ``via``: whatever can switch something on or off there."""
    if branch.way in SWITCHED:
        yield from _transistor(situation, reference, branch)
    elif branch.way is Way.SUPPLY:
        yield _supply(situation, branch)
    elif branch.way is Way.CONTACT:
        yield from _contact(situation, branch)
    elif branch.way is Way.CHIP and branch.owner not in via:
        yield from _rows(situation, reference, branch)


def _reads(situation: Situation, branch: Branch, criterion: Criterion) -> bool:
    """Tell whether a branch is the very input whose view of the level is the criterion."""
    if not isinstance(criterion, ByRow) or branch.owner != criterion.owner or branch.way is not Way.PASSES:
        return False
    network = situation.network
    numbers = (k for k in network.rows_of[criterion.owner] if network.row_names[k] == criterion.row)
    return any(branch.pin in sensed(situation, number) for number in numbers)


def following(situation: Situation, reference: Reference, label: str) -> dict[str, tuple[str, ...]]:
    """Nodes that have their level from this one, through parts that pass current, with the parts on the way."""
    found: dict[str, tuple[str, ...]] = {}
    waiting: list[tuple[str, tuple[str, ...]]] = [(label, ())]
    while waiting:
        here, via = waiting.pop(0)
        for branch in branches(situation, here):
            there = branch.far_label
            passed = branch.way in (Way.PASSES, Way.ADDED) and branch.far is not None and len(via) < LONGEST_WAY
            if not passed or there in found or there == label or situation.node(there) in situation.grounds:
                continue
            if not _independent(situation, reference, branch):
                found[there] = (*via, branch.owner or branch.fault)
                waiting.append((there, found[there]))
    return found


def _independent(situation: Situation, reference: Reference, branch: Branch) -> bool:
    """Tell whether the far end of a branch keeps its level when the branch is taken off there."""
    if branch.far is None or branch.way is Way.ADDED:
        return False
    key = ("independent", branch.pin, branch.far)
    if key not in situation.memo:
        at = branch.far_label
        middle = reference.swing(situation, at).middle
        alone = situation.again(lifted(branch.far))
        situation.memo[key] = (
            alone is not None
            and (situation.volts(at) > middle) == (alone.volts(at) > middle)
            and (situation.floats(at) or not alone.floats(at))
        )
    return bool(situation.memo[key])


def _faults(situation: Situation, labels: list[str]) -> Iterator[Cause]:
    """Faults that have done something to what lies on these nodes, or should lie on them."""
    touched: dict[str, str] = {}
    for label in labels:
        node = situation.node(label)
        for patch, fault in zip(situation.patches, situation.origins, strict=True):
            place = _touches(situation, patch, node) if fault and fault not in touched else None
            if place is not None:
                touched[fault] = place
    for fault, place in touched.items():
        drop = tuple(p for p, origin in zip(situation.patches, situation.origins, strict=True) if origin == fault)
        branch = Branch(place.partition(".")[0], Way.ADDED, place, None, GROUND, 0.0, (), fault=fault)
        yield Cause(branch, What.FAULT, (), drop)


def _touches(situation: Situation, patch: Patch, node: int) -> str | None:
    """Return the pin, or place, at which a patch does something to a node; None if it does nothing there."""
    network = situation.network

    def here(pin: str) -> bool:
        if pin == GROUND:
            return False
        number = network.terminal_index.get(pin)
        as_built = number is not None and network.terminal_node[number] == node
        return as_built or situation.node(pin) == node

    match patch:
        case Bridge(first, second):
            places: tuple[str, ...] = (first, second)
        case Source(plus, minus):
            places = (plus, minus)
        case Move(pins):
            places = pins
        case Exchange(first, second):
            places = (first, second)
        case Turn(owner) | Disable(owner) | SetSide(owner):
            places = _pins_of(situation, owner)
        case SetGate(gate):
            places = _pins_of(situation, gate.partition(":")[0])
        case _:
            places = ()
    return next((place for place in places if here(place)), None)


def _pins_of(situation: Situation, owner: str) -> tuple[str, ...]:
    if owner in situation.circuit.supplies:
        return (f"{owner}:entry",)
    part = situation.circuit.parts.get(owner)
    return () if part is None else tuple(part.pin(pin) for pin in part.pins)


def _of_branch(situation: Situation, reference: Reference, branch: Branch, label: str) -> Iterator[Cause]:
    if branch.way is Way.SUPPLY:
        yield _supply(situation, branch)
    elif branch.way is Way.CONTACT:
        yield from _contact(situation, branch)
        yield from _far(situation, reference, branch, label)
    elif branch.way in SWITCHED:
        yield from _transistor(situation, reference, branch)
        yield from _far(situation, reference, branch, label)
    elif branch.way is Way.CHIP:
        yield from _rows(situation, reference, branch)
        yield from _far(situation, reference, branch, label)
    elif branch.way is Way.PASSES:
        far = tuple(_far(situation, reference, branch, label))
        yield from far
        if branch.far is not None and not far:
            yield Cause(branch, What.LIFT, (lifted(branch.pin),), pushes=-branch.pulls)


def lifted(pin: str) -> Move:
    """Return the patch that takes a terminal off its node."""
    return Move((pin,), f"{pin}/lifted", joint=True)


def held(pin: str, volts: float) -> tuple[Patch, ...]:
    """Return the patches that take a terminal off its node and hold it at a level."""
    place = f"{pin}/held"
    return Move((pin,), place, joint=True), Source(place, GROUND, volts, STIFF_OHMS)


def _supply(situation: Situation, branch: Branch) -> Cause:
    supply = situation.circuit.supplies[branch.owner]
    applied = _gate(situation, supply.applied)
    undo = (SetGate(supply.applied, not applied), SetGate(supply.idle_low, applied and supply.idle == "low"))
    return Cause(branch, What.APPLIED if applied else What.ABSENT, undo)


def _contact(situation: Situation, branch: Branch) -> Iterator[Cause]:
    for gate in branch.gates:
        name = situation.network.gates[gate]
        closed = _gate(situation, name)
        yield Cause(branch, What.CLOSED if closed else What.OPEN, (SetGate(name, not closed),))


def _gate(situation: Situation, name: str) -> bool:
    return bool(situation.levels.gates[situation.network.gate_index[name]])


def _transistor(situation: Situation, reference: Reference, branch: Branch) -> Iterator[Cause]:
    """A transistor that is on (what it carries would end) or off (what it would carry would flow)."""
    controls = _controls(situation, branch)
    carries = capability(situation, branch.owner)
    if carries > LEAST_AMPS:
        needed = max(0.5 * min(abs(branch.amps), carries), LEAST_AMPS)
        towards = tuple((pin, ByTransistor(branch.owner, needed)) for pin in controls)
        undo = (Disable(branch.owner, _switching(situation, branch)),)
        yield Cause(branch, What.ON, undo, towards=towards, pushes=-branch.pulls)
    on = _turned_on(situation, reference, branch)
    then = situation.again(*on)
    if then is None or branch.far is None:
        return
    would = abs(sum(b.amps for b in branches(then, then.label_of[then.node(branch.pin)]) if b.pin == branch.pin))
    needed = max(0.5 * min(would, capability(then, branch.owner)), LEAST_AMPS)
    if carries < needed:
        towards = tuple((pin, ByTransistor(branch.owner, needed)) for pin in controls)
        pushes = 1 if situation.volts(branch.far) > situation.volts(branch.pin) else -1
        yield Cause(branch, What.OFF, on, towards=towards, pushes=pushes)


def _turned_on(situation: Situation, reference: Reference, branch: Branch) -> tuple[Patch, ...]:
    """Return the patches that drive a transistor as strongly as the healthy board ever does, if it ever does."""
    if branch.way is Way.LIGHT:
        return (Bridge(branch.pin, branch.far or GROUND, 1 / BRIDGE_OHMS),)
    part = situation.circuit.parts[branch.owner]
    control, origin = (part.pin(pin) for pin in (("B", "E") if branch.way is Way.BIPOLAR else ("G", "S")))
    sign = float(getattr(part, "sign", 1))
    driven = max((sign * (levels.at(control) - levels.at(origin)) for levels in reference.powered), default=0.0)
    threshold = float(getattr(part, "threshold", LEAST_JUNCTION))
    if driven <= threshold:
        driven = ON_JUNCTION if branch.way is Way.BIPOLAR else threshold + ON_OVERDRIVE
    return held(control, situation.volts(origin) + sign * driven)


def _switching(situation: Situation, branch: Branch) -> tuple[str, ...] | None:
    """Roles that carry the switched current; the body diode of a MOSFET is no part of it."""
    if branch.way is not Way.FIELD:
        return None
    return tuple(dict.fromkeys(situation.roles[h] for h in branch.hinges))


def _controls(situation: Situation, branch: Branch) -> tuple[str, ...]:
    part = situation.circuit.parts[branch.owner]
    names = {Way.BIPOLAR: "B", Way.FIELD: "G", Way.LIGHT: "AK"}[branch.way]
    return tuple(part.pin(name) for name in names)


def _far(situation: Situation, reference: Reference, branch: Branch, label: str) -> Iterator[Cause]:
    """The level at the other end, where that is brought about by something else than this node."""
    if branch.far is None or situation.node(branch.far) in situation.grounds or not feeds(situation, branch, label):
        return
    if not _independent(situation, reference, branch):
        return
    volts = situation.volts(branch.far)
    swing = reference.swing(situation, branch.far_label)
    towards = ((branch.far, None),)
    for other in (swing.low, swing.high):
        # near one end of its swing a level can only go to the other; between them, to either
        if abs(other - volts) > BETWEEN * abs(swing.high - swing.low):
            yield Cause(branch, What.FAR, held(branch.far, other), towards=towards, pushes=1 if other > volts else -1)


def feeds(situation: Situation, branch: Branch, label: str) -> bool:
    """Tell whether something that can vary lies beyond a branch: a supply, an output, a transistor; not the node."""
    seen = {situation.node(label), *situation.grounds}
    waiting = [situation.node(branch.far or GROUND)]
    while waiting:
        node = waiting.pop()
        if node in seen or node not in situation.label_of:
            continue
        seen.add(node)
        for beyond in branches(situation, situation.label_of[node]):
            if beyond.owner == branch.owner and beyond.pin == branch.far:
                continue
            if beyond.way in SWITCHED or beyond.way in (Way.CHIP, Way.SUPPLY, Way.CONTACT):
                return True
            if beyond.way is Way.ADDED and beyond.far is None:
                return True
            if beyond.way in (Way.PASSES, Way.ADDED) and beyond.far is not None:
                waiting.append(situation.node(beyond.far))
    return situation.floats(situation.label_of.get(situation.node(branch.far or GROUND), GROUND))


def _rows(situation: Situation, reference: Reference, branch: Branch) -> Iterator[Cause]:
    """How a chip sees each of its inputs; a supply that is missing is tried by giving it."""
    network = situation.network
    forced = situation.levels.system.variant.side_force
    if any(situation.levels.system.variant.gate_force[gate] >= 0 for gate in branch.gates):
        return  # a fault drives this pin, whatever the chip sees
    for number in network.rows_of.get(branch.owner, ()):
        name = network.row_names[number]
        above = bool(situation.levels.state.above[number])
        pins = sensed(situation, number)
        if forced[number] >= 0:
            continue  # a fault holds it, whatever its terminals say
        towards = tuple((pin, ByRow(branch.owner, name)) for pin in pins)
        undo: tuple[Patch, ...] = (SetSide(branch.owner, name, not above),)
        if not above and network.rows.kind[number] == RowClass.UNDERVOLTAGE and pins:
            at = situation.label_of.get(situation.node(pins[0]))
            if at is None or situation.node(at) < 0:
                continue
            undo = held(pins[0], reference.swing(situation, at).high)
        yield Cause(branch, What.ROW, undo, row=name, above=above, towards=towards)


def sensed(situation: Situation, number: int) -> tuple[str, ...]:
    """Terminals that a row compares, without ground; the supply only where nothing else is compared."""
    network = situation.network
    above = bool(situation.levels.state.above[number])
    rows = network.rows
    at, weight = (rows.fall_at, rows.fall_weight) if above else (rows.rise_at, rows.rise_weight)
    owner = network.row_owners[number]
    names = [network.terminals[t] for t, w in zip(at[number], weight[number], strict=True) if t >= 0 and w]
    live = [name for name in names if situation.node(name) >= 0]
    signals = [name for name in live if name not in (f"{owner}.VCC", f"{owner}.GND")]
    return tuple(signals or live)
