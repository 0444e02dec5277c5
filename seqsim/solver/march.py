"""Time steps compiled: TR-BDF2 on the hinge network, from one event to the next.

A capacitance C is a conductance aC beside a current that its past gives (its companion), with ``a = 1/(d h)``: the
trapezoidal rule over γh and the second-order backward difference over the whole step h share this matrix when
``γ = 2 - √2`` and ``d = γ/2``. Node equations then hold exactly at every stage, whether a node has a capacitance or
not. Error control watches the volts of capacitances alone, by the third-order formula that shares the stages,
filtered by the step's own matrix (Hosea and Shampine, "Analysis and implementation of TR-BDF2", Applied Numerical
Mathematics 20 (1996) 21-37, from memory, not checked against the text).

Step sizes are powers of two, so that inverses can be kept: a power-up returns to the same modes and steps often.

Importing this module imports numba.
"""

from __future__ import annotations

import math

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Floats
from seqsim.solver.companion import Body, Drive, Now, Store, Trace, Work, apply, solve_stage
from seqsim.solver.jit import borrowing, inlined, put

GAMMA = 2 - math.sqrt(2)
D = GAMMA / 2
W = math.sqrt(2) / 4
THIRD_START, THIRD_MIDDLE, THIRD_END = (1 - W) / 3, (3 * W + 1) / 3, D / 3
"""Weights of the third-order formula that gives the error."""

REACHED, CROSSED, FULL, STUCK = 0, 1, 2, 3
"""Why a march ended: at its end, at a threshold, without room for points, without a solution."""

FINEST = 1e-9
"""Shortest step (s)."""
LARGEST_GROWTH = 8.0
SAFETY = 0.9
KINK_STEP = 5e-6
"""A step (s) in which hinges changed their modes must be shorter than this before a threshold is placed in it."""
KINK_ERROR = 4.0
"""The error of such a step counts so many times: the formula for it supposes a smooth course."""
MOST_BETWEEN = 48
"""Most points that are placed between the ends of a long step."""


@inlined
def _error(
    body: Body, now: Now, h: float, scale: float, slot: int, store: Store, w: Work, least: float, part: float
) -> float:
    """Return the error of a step as a multiple of what is allowed."""
    w.right[:] = 0.0
    for c in range(len(body.farads)):
        off = h * (
            (W - THIRD_START) * now.slope[c] + (W - THIRD_MIDDLE) * w.middle_slope[c] + (D - THIRD_END) * w.end_slope[c]
        )
        amps = scale * body.farads[c] * off
        w.right[body.plus[c]] += amps
        w.right[body.minus[c]] -= amps
    apply(store.columns[slot], w.right, w.off)
    worst = 0.0
    for c in range(len(body.farads)):
        off = w.off[body.plus[c]] - w.off[body.minus[c]]
        allowed = least + part * max(abs(now.charge[c]), abs(w.end[c]))
        worst = max(worst, abs(off) / allowed)
    return worst


@inlined
def _stages(body: Body, drive: Drive, now: Now, time: float, h: float, scale: float, store: Store, w: Work) -> int:
    """Work out both stages of a step into the scratch space; return the slot of the last inverse, or -1."""
    late = time - drive.start
    put(w.middle_volts, now.volts)
    for c in range(len(body.farads)):
        w.history[c] = now.charge[c] + now.slope[c] / scale
    if solve_stage(body, drive, now, w.middle_volts, late + GAMMA * h, scale, store, w) < 0:
        return -1
    for c in range(len(body.farads)):
        w.middle[c] = w.middle_volts[body.plus[c]] - w.middle_volts[body.minus[c]]
        w.middle_slope[c] = scale * (w.middle[c] - w.history[c])
    for c in range(len(body.farads)):
        w.history[c] = now.charge[c] + h * W * (now.slope[c] + w.middle_slope[c])
    slot = solve_stage(body, drive, now, w.end_volts, late + h, scale, store, w)
    if slot < 0:
        return -1
    for c in range(len(body.farads)):
        w.end[c] = w.end_volts[body.plus[c]] - w.end_volts[body.minus[c]]
        w.end_slope[c] = scale * (w.end[c] - w.history[c])
    return slot


@inlined
def _row(drive: Drive, row: int, volts: Floats) -> float:
    """Return how far a row is beyond its limit (V), on the side that is watched."""
    total = -drive.row_limit[row]
    for p in range(WIDTH):
        total += drive.row_weight[row, p] * volts[drive.row_at[row, p]]
    return float(total * drive.row_sign[row])


@borrowing
def _root(first: float, middle: float, last: float) -> float:
    """Return where the parabola through values at 0, γ and 1 first rises above zero, as a share of the step."""
    if first > 0.0:
        return 0.0
    second = (last - middle) / (1.0 - GAMMA) - (middle - first) / GAMMA
    slope = (middle - first) / GAMMA - second * GAMMA
    low, high = (0.0, GAMMA) if middle > 0.0 else (GAMMA, 1.0)
    for _ in range(50):
        at = 0.5 * (low + high)
        if first + at * (slope + at * second) > 0.0:
            high = at
        else:
            low = at
    return high


@inlined
def _crossing(drive: Drive, now: Now, w: Work) -> tuple[float, int]:
    """Return the share of the step after which the first watched row is crossed, and that row; -1 if none is."""
    first, crossed = 2.0, -1
    for row in range(len(drive.row_sign)):
        if drive.row_sign[row] == 0.0:
            continue
        end = _row(drive, row, w.end_volts)
        middle = _row(drive, row, w.middle_volts)
        if end > 0.0 or middle > 0.0:
            at = _root(_row(drive, row, now.volts), middle, end)
            if at < first:
                first, crossed = at, row
    return first, crossed


@borrowing
def _land(now: Now, w: Work, h: float, share: float) -> None:
    """Move the board to a share of the step: capacitances by Hermite's cubic, nodes by the parabola of the stages."""
    s = share
    start, end = (1 + 2 * s) * (1 - s) ** 2, s * s * (3 - 2 * s)
    start_slope, end_slope = s * (1 - s) ** 2, s * s * (s - 1)
    for c in range(len(now.charge)):
        now.charge[c] = (
            start * now.charge[c] + end * w.end[c] + h * (start_slope * now.slope[c] + end_slope * w.end_slope[c])
        )
        now.slope[c] += s * (w.end_slope[c] - now.slope[c])
    one = (1 - s) * (1 - s / GAMMA)
    two = s * (1 - s) / (GAMMA * (1 - GAMMA))
    three = s * (s - GAMMA) / (1 - GAMMA)
    for i in range(len(now.volts)):
        now.volts[i] = one * now.volts[i] + two * w.middle_volts[i] + three * w.end_volts[i]


@borrowing
def _draw(
    now: Now,
    w: Work,
    trace: Trace,
    points: int,
    time: float,
    reach: float,
    h: float,
    spacing: float,
    kinked: bool,  # noqa: FBT001
) -> int:
    """Add points to the trace between ``time`` and ``time + reach``, not further than ``spacing`` apart (s).

    They lie on the parabola of the stages; in a step in which hinges changed their modes, on its middle stage alone.
    Returns the number of points.
    """
    if reach <= spacing:
        return points
    if kinked:
        if GAMMA * h < reach:
            trace.times[points] = time + GAMMA * h
            put(trace.volts[points], w.middle_volts)
            points += 1
        return points
    count = min(int(reach / spacing), MOST_BETWEEN)
    for k in range(1, count + 1):
        s = reach * k / (h * (count + 1))
        one = (1 - s) * (1 - s / GAMMA)
        two = s * (1 - s) / (GAMMA * (1 - GAMMA))
        three = s * (s - GAMMA) / (1 - GAMMA)
        trace.times[points] = time + s * h
        for i in range(len(now.volts)):
            trace.volts[points, i] = one * now.volts[i] + two * w.middle_volts[i] + three * w.end_volts[i]
        points += 1
    return points


@borrowing
def _kinked(now: Now, w: Work) -> bool:
    """Tell whether hinges changed their modes in the step."""
    changed = False
    for k in range(len(w.before)):
        changed |= w.before[k] != now.conducting[k]
    return changed


@borrowing
def _whole(h: float) -> float:
    """Return the largest of the step sizes in use that is not above ``h``."""
    return float(FINEST * 2.0 ** math.floor(math.log2(max(h, FINEST) / FINEST) + 1e-9))


@borrowing
def march(
    body: Body, drive: Drive, now: Now, store: Store, w: Work, trace: Trace,
    points: int, time: float, end: float, h: float, longest: float, spacing: float, least: float, part: float,
) -> tuple[int, float, float, int, int, int]:  # fmt: skip
    """Go on until ``end``, or until a watched row is crossed.

    ``points`` of the trace are taken already, and more follow at most ``spacing`` (s) apart; ``least`` (V) and ``part``
    are the error that one step may have. Returns why it ended, the time, the size of the next step, the number of
    points in the trace, the number of steps tried, and the row that was crossed or -1.
    """
    tried = 0
    h = _whole(h)
    while time < end:
        if points + MOST_BETWEEN >= len(trace.times):
            return FULL, time, h, points, tried, -1
        h = min(h, _whole(longest))
        last = time + h >= end - FINEST
        size = end - time if last else h
        tried += 1
        scale = 1.0 / (D * size)
        put(w.before, now.conducting)
        put(w.shares, now.shares)
        slot = _stages(body, drive, now, time, size, scale, store, w)
        wrong = np.inf if slot < 0 else _error(body, now, size, scale, slot, store, w, least, part)
        kinked = _kinked(now, w)
        if kinked and size > KINK_STEP:
            wrong *= KINK_ERROR
        good = wrong <= 1.0
        share, row = 2.0, -1
        if good:
            share, row = _crossing(drive, now, w)
        if not good or (row >= 0 and size > KINK_STEP and kinked):
            put(now.conducting, w.before)
            put(now.shares, w.shares)
            if not good and size <= 2.0 * FINEST:
                return STUCK, time, FINEST, points, tried, -1
            if good:
                h = _whole(max(0.25 * size, 0.5 * KINK_STEP))
            else:
                h = _whole(size * (0.125 if slot < 0 else max(0.125, min(0.5, SAFETY * wrong ** (-1.0 / 3.0)))))
            continue
        points = _draw(now, w, trace, points, time, min(share, 1.0) * size, size, spacing, kinked)
        if row >= 0:
            _land(now, w, size, share)
            time += share * size
        else:
            put(now.charge, w.end)
            put(now.slope, w.end_slope)
            put(now.volts, w.end_volts)
            time = end if last else time + size
        trace.times[points] = time
        put(trace.volts[points], now.volts)
        points += 1
        if row >= 0:
            return CROSSED, time, h, points, tried, row
        if not last:
            h = _whole(h * (LARGEST_GROWTH if wrong < 1e-6 else min(LARGEST_GROWTH, SAFETY * wrong ** (-1.0 / 3.0))))
    return REACHED, time, h, points, tried, -1
