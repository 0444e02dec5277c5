"""From event to event without leaving compiled code, for rules that follow at once.

A gate without delay, ramp or pause changes with the row that is crossed: the board jumps, and the march goes on. What
else can happen (timers, knobs that rise, rows in a hurry) is left to the clockwork, before anything is changed.

Importing this module imports numba.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.companion import Body, Drive, Now, Store, Trace, Work, jump
from seqsim.solver.jit import borrowing, put
from seqsim.solver.march import CROSSED, REACHED, march

STOPPED = 4
"""Why a cruise ended, besides the reasons of a march: after a gate changed no solution was found."""
INSTANT = 10e-9
"""Seconds that a change takes to come through: the delay of a logic gate (common practice: 5 to 20 ns)."""
PATIENCE = 60
"""So many hurried changes of a row are followed; then it rests after each, twice as long after as many more."""
ROW, GATE = 0, 1


class Following(NamedTuple):
    """What rules make of rows: gates of hinges, truth tables, thresholds; ``plain`` rules (k,) follow at once."""

    gate: Ints
    alive: Bools
    rule: Ints
    row_start: Ints
    table_start: Ints
    table: Ints
    gate_start: Ints
    driven: Ints
    plain: Bools
    gate_force: Ints
    side_force: Ints
    rise_at: Ints
    rise_weight: Floats
    rising: Floats
    fall_at: Ints
    fall_weight: Floats
    falling: Floats


class Sides(NamedTuple):
    """Where rows and gates stand, changed in place; when each row changed, how often in a hurry, until when it rests.

    ``fresh`` (r,) is scratch space.
    """

    above: Bools
    gates: Bools
    changed: Floats
    hurried: Ints
    fell: Floats
    rest: Floats
    fresh: Bools


class Log(NamedTuple):
    """Events in their order: seconds (m,), `ROW` or `GATE`, which one, and whether it went on or above."""

    seconds: Floats
    what: Ints
    which: Ints
    on: Bools


@borrowing
def _read(at: Ints, weight: Floats, volts: Floats) -> float:
    total = 0.0
    for p in range(len(at)):
        total += weight[p] * volts[at[p]]
    return total


@borrowing
def _look(rules: Following, sides: Sides, volts: Floats, time: float, crossed: int, haste: float) -> bool:
    """Put the sides that the volts ask for into ``sides.fresh``; tell whether all that changes follows at once."""
    for row in range(len(sides.above)):
        above = sides.above[row]
        if row == crossed:
            fresh = not above
        elif rules.side_force[row] >= 0:
            fresh = rules.side_force[row] == 1
        elif sides.rest[row] > time:
            fresh = above
        elif above:
            fresh = _read(rules.fall_at[row], rules.fall_weight[row], volts) >= rules.falling[row]
        else:
            fresh = _read(rules.rise_at[row], rules.rise_weight[row], volts) > rules.rising[row]
        sides.fresh[row] = fresh
        if fresh != above:
            hurried = sides.hurried[row] + (time - sides.changed[row] < haste)
            if hurried >= PATIENCE or not rules.plain[rules.rule[row]]:
                return False
    return True


@borrowing
def _note(log: Log, number: int, time: float, what: int, which: int, on: bool) -> int:  # noqa: FBT001
    log.seconds[number] = time
    log.what[number] = what
    log.which[number] = which
    log.on[number] = on
    return number + 1


@borrowing
def _follow(rules: Following, sides: Sides, log: Log, logged: int, time: float, haste: float) -> tuple[int, bool]:
    """Let rows and gates go where ``sides.fresh`` says; return the number of events, and whether a gate changed."""
    rows = len(sides.above)
    for row in range(rows):
        if sides.fresh[row] != sides.above[row]:
            if time - sides.changed[row] < haste:
                sides.hurried[row] += 1
            sides.changed[row] = time
            if not sides.fresh[row]:
                sides.fell[row] = time
            logged = _note(log, logged, time, ROW, row, sides.fresh[row])
    switched = False
    for row in range(rows):
        if sides.fresh[row] == sides.above[row]:
            continue
        rule = rules.rule[row]
        number = 0
        for k in range(rules.row_start[rule], rules.row_start[rule + 1]):
            number += int(sides.fresh[k]) << (k - rules.row_start[rule])
        bits = rules.table[rules.table_start[rule] + number]
        for i in range(rules.gate_start[rule], rules.gate_start[rule + 1]):
            gate = rules.driven[i]
            wanted = (bits >> (i - rules.gate_start[rule])) & 1 == 1
            if rules.gate_force[gate] < 0 and sides.gates[gate] != wanted:
                sides.gates[gate] = wanted
                switched = True
                logged = _note(log, logged, time, GATE, gate, wanted)
    put(sides.above, sides.fresh)
    return logged, switched


@borrowing
def _redirect(body: Body, rules: Following, sides: Sides, drive: Drive, now: Now, time: float) -> None:
    """Bring what the march watches, and the hinges that may carry, to where rows and gates stand."""
    bending, pushing, key = 0, 0, np.uint64(0)
    for k in range(len(rules.gate)):
        drive.allowed[k] = rules.alive[k] and (rules.gate[k] < 0 or sides.gates[rules.gate[k]])
        if not drive.allowed[k]:
            now.conducting[k] = False
            continue
        if body.clamped[k]:
            drive.bending[bending] = k
            bending += 1
        elif not body.shared[k]:
            key ^= body.label[k]
        if not body.shared[k] and (drive.threshold[k] != 0.0 or drive.rate[k] != 0.0):
            drive.pushing[pushing] = k
            pushing += 1
    drive.counts[0], drive.counts[1], drive.key[0] = bending, pushing, key
    for row in range(len(sides.above)):
        if sides.above[row]:
            put(drive.row_at[row], rules.fall_at[row])
            put(drive.row_weight[row], rules.fall_weight[row])
            drive.row_limit[row] = rules.falling[row]
        else:
            put(drive.row_at[row], rules.rise_at[row])
            put(drive.row_weight[row], rules.rise_weight[row])
            drive.row_limit[row] = rules.rising[row]
        watched = rules.side_force[row] < 0 and sides.rest[row] <= time
        drive.row_sign[row] = 0.0 if not watched else -1.0 if sides.above[row] else 1.0


@borrowing
def cruise(
    body: Body, drive: Drive, now: Now, store: Store, w: Work, trace: Trace, rules: Following, sides: Sides, log: Log,
    time: float, end: float, h: float, longest: float, spacing: float, least: float, part: float, haste: float,
    switched: bool,  # noqa: FBT001
) -> tuple[int, float, float, int, int, int, int]:  # fmt: skip
    """March until ``end``, or until something happens that does not follow at once.

    ``switched`` tells that a gate changed just now, so that the board has to jump first. For ``spacing``, ``least`` and
    ``part`` see `march`; ``haste`` (s) is how soon after its last change a row is in a hurry. Of ``drive`` only the
    thresholds need to hold. Returns why it ended, the time, the size of the next step, the number of points in the
    trace, the number of steps tried, the row that was crossed and not followed or -1, and the number of events.
    """
    points, tried, logged, row = 0, 0, 0, -1
    most = len(sides.above) + len(sides.gates)
    _redirect(body, rules, sides, drive, now, time)
    while True:
        if not switched:
            status, time, h, points, steps, row = march(
                body, drive, now, store, w, trace, points, time, end, h, longest, spacing, least, part
            )
            tried += steps
            if status != CROSSED:
                return status, time, h, points, tried, row, logged
        while True:
            if switched:
                tried += 1
                if not jump(body, drive, now, time, INSTANT, store, w):
                    return STOPPED, time, h, points, tried, row, logged
                time += INSTANT
                h = INSTANT
                trace.times[points] = time
                put(trace.volts[points], now.volts)
                points += 1
            room = logged + most <= len(log.seconds) and points < len(trace.times)
            if not room or not _look(rules, sides, now.volts, time, row, haste):
                return CROSSED, time, h, points, tried, row, logged
            logged, switched = _follow(rules, sides, log, logged, time, haste)
            _redirect(body, rules, sides, drive, now, time)
            row = -1
            if not switched:
                break
        if time >= end:
            return REACHED, time, h, points, tried, row, logged
