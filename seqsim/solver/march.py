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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.jit import compiled
from seqsim.solver.plain import NEARLY
from seqsim.solver.system import LEAK

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
NEWTON_STEPS = 40
SHARE_LEAST = 1e-6
SHARE_PART = 1e-5
"""Accuracy, and as a part, to which the input shares of step-down regulators are found."""
KINK_STEP = 5e-6
"""A step (s) in which hinges changed their modes must be shorter than this before a threshold is placed in it."""


class Body(NamedTuple):
    """A variant: hinges (h,) over nodes with ground last, capacitances (k,), input shares of step-down regulators."""

    sense_at: Ints
    sense_weight: Floats
    inject_at: Ints
    inject_weight: Floats
    conductance: Floats
    clamped: Bools
    after: Ints
    instead_of: Ints
    label: NDArray[np.uint64]
    shared: Bools
    """(h,) whether a hinge is an input share: it changes with the volts and stands outside the matrix"""
    plus: Ints
    minus: Ints
    farads: Floats
    ratio_at: Ints
    ratio_nodes: Ints
    ratio_weights: Floats
    efficiency: Floats
    floor: Floats


class Drive(NamedTuple):
    """What holds from one event to the next: hinges that may carry, thresholds that move, rows to watch.

    The threshold of hinge k at time t is ``threshold[k] + rate[k] (t - start)``. A row is crossed once
    ``sign (weight·v - limit) > 0``; a sign of 0 means that nobody watches.
    """

    start: float
    allowed: Bools
    threshold: Floats
    rate: Floats
    row_at: Ints
    row_weight: Floats
    row_limit: Floats
    row_sign: Floats


class Now(NamedTuple):
    """Where the board stands, changed in place: node volts, conducting hinges, volts of capacitances and their rates.

    ``shares`` are the parts of their output current that step-down regulators draw at their inputs.
    """

    volts: Floats
    conducting: Bools
    charge: Floats
    slope: Floats
    shares: Floats


class Store(NamedTuple):
    """Inverses that were needed, by step size and modes; the one that was used longest ago makes room."""

    inverse: Floats
    scale: Floats
    modes: NDArray[np.uint64]
    used: Ints
    clock: Ints
    work: Floats


class Work(NamedTuple):
    """Scratch space."""

    wanted: Bools
    across: Floats
    right: Floats
    history: Floats
    middle: Floats
    middle_slope: Floats
    middle_volts: Floats
    end: Floats
    end_slope: Floats
    end_volts: Floats
    before: Bools
    shares: Floats
    amps: Floats
    small: Floats


class Trace(NamedTuple):
    """Points of the course: seconds (b,), volts (b, n)."""

    times: Floats
    volts: Floats


@compiled
def _invert(matrix: Floats, n: int) -> bool:
    """Turn the left half of ``matrix`` (n, 2n), whose right half is the unit matrix, into the unit matrix."""
    for k in range(n):
        pivot, best = k, abs(matrix[k, k])
        for i in range(k + 1, n):
            if abs(matrix[i, k]) > best:
                pivot, best = i, abs(matrix[i, k])
        if best < 1e-300:
            return False
        if pivot != k:
            for j in range(2 * n):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
        over = 1.0 / matrix[k, k]
        for j in range(2 * n):
            matrix[k, j] *= over
        for i in range(n):
            factor = matrix[i, k]
            if i != k and factor != 0.0:
                for j in range(k, 2 * n):
                    matrix[i, j] -= factor * matrix[k, j]
    return True


@compiled
def _slot(body: Body, drive: Drive, conducting: Bools, scale: float, store: Store) -> int:
    """Return where the inverse of the step's matrix is kept, working it out if need be; -1 if it has none."""
    key = np.uint64(0)
    for k in range(len(conducting)):
        if drive.allowed[k] and not body.shared[k] and (conducting[k] or not body.clamped[k]):
            key ^= body.label[k]
    store.clock[0] += 1
    oldest = 0
    for s in range(len(store.scale)):
        if store.scale[s] == scale and store.modes[s] == key:
            store.used[s] = store.clock[0]
            return s
        if store.used[s] < store.used[oldest]:
            oldest = s
    n = store.inverse.shape[1]
    matrix = store.work
    matrix[:, :] = 0.0
    for i in range(n):
        matrix[i, i] = LEAK
        matrix[i, n + i] = 1.0
    for k in range(len(conducting)):
        if not drive.allowed[k] or body.shared[k] or (body.clamped[k] and not conducting[k]):
            continue
        for p in range(WIDTH):
            i = body.inject_at[k, p]
            if i >= n or body.inject_weight[k, p] == 0.0:
                continue
            drawn = body.conductance[k] * body.inject_weight[k, p]
            for q in range(WIDTH):
                j = body.sense_at[k, q]
                if j < n:
                    matrix[i, j] += drawn * body.sense_weight[k, q]
    for c in range(len(body.farads)):
        i, j, siemens = body.plus[c], body.minus[c], scale * body.farads[c]
        if i < n:
            matrix[i, i] += siemens
        if j < n:
            matrix[j, j] += siemens
        if i < n and j < n:
            matrix[i, j] -= siemens
            matrix[j, i] -= siemens
    if not _invert(matrix, n):
        return -1
    store.inverse[oldest] = matrix[:, n:]
    store.scale[oldest], store.modes[oldest], store.used[oldest] = scale, key, store.clock[0]
    return oldest


@compiled
def _wanted(body: Body, drive: Drive, now: Now, volts: Floats, late: float, w: Work) -> bool:
    """Put the modes that the volts ask for into ``w.wanted``, by the ladder; tell whether they are those held."""
    count = len(now.conducting)
    for k in range(count):
        if not body.clamped[k] or not drive.allowed[k]:
            w.wanted[k] = False
            continue
        x = -drive.threshold[k] - drive.rate[k] * late
        for p in range(WIDTH):
            x += body.sense_weight[k, p] * volts[body.sense_at[k, p]]
        w.wanted[k] = now.conducting[k] if abs(x) < NEARLY else x > 0.0
    for k in range(count):
        path = body.after[k]
        if path >= 0 and body.clamped[path] and not now.conducting[path]:
            w.wanted[k] = False
    for k in range(count):
        path = body.after[k]
        if path < 0 or not (now.conducting[k] and body.clamped[path]) or w.wanted[path]:
            continue
        if drive.allowed[path]:
            w.wanted[path] = True
            w.wanted[k] = False
    for k in range(count):
        other = body.instead_of[k]
        if other >= 0 and now.conducting[other]:
            w.wanted[k] = False
    same = True
    for k in range(count):
        if w.wanted[k] != now.conducting[k]:
            same = False
    return same


@compiled
def _share_amps(body: Body, drive: Drive, now: Now, volts: Floats, late: float, inverse: Floats, w: Work) -> None:
    """Add the input currents of step-down regulators to a solution without them, their shares held.

    The currents y follow from ``(I + D M) y = D (A v - t)`` with ``M = A Z B``, D the conductances times the shares,
    and lower the volts by ``Z B y``: the inverse that is kept does not depend on shares.
    """
    n, count = inverse.shape[0], len(body.ratio_at)
    for r in range(count):
        k = body.ratio_at[r]
        siemens = body.conductance[k] * now.shares[r] if drive.allowed[k] else 0.0
        sensed = -drive.threshold[k] - drive.rate[k] * late
        for p in range(WIDTH):
            sensed += body.sense_weight[k, p] * volts[body.sense_at[k, p]]
        w.amps[r] = siemens * sensed
        for c in range(count):
            other = body.ratio_at[c]
            total = 0.0
            for p in range(WIDTH):
                i = body.sense_at[k, p]
                for q in range(WIDTH):
                    j = body.inject_at[other, q]
                    if i < n and j < n:
                        total += body.sense_weight[k, p] * inverse[i, j] * body.inject_weight[other, q]
            w.small[r, c] = siemens * total + (1.0 if r == c else 0.0)
    for r in range(count):  # the diagonal leads: shares and couplings are small
        for i in range(r + 1, count):
            factor = w.small[i, r] / w.small[r, r]
            for j in range(r + 1, count):
                w.small[i, j] -= factor * w.small[r, j]
            w.amps[i] -= factor * w.amps[r]
    for r in range(count - 1, -1, -1):
        for j in range(r + 1, count):
            w.amps[r] -= w.small[r, j] * w.amps[j]
        w.amps[r] /= w.small[r, r]
    for r in range(count):
        k = body.ratio_at[r]
        for p in range(WIDTH):
            j = body.inject_at[k, p]
            drawn = w.amps[r] * body.inject_weight[k, p]
            if j < n and drawn != 0.0:
                for i in range(n):
                    volts[i] -= inverse[i, j] * drawn


@compiled
def _shares(body: Body, now: Now, volts: Floats, trial: int) -> bool:
    """Put what share each step-down regulator draws at its input into ``now``; tell whether it was right already."""
    settled = True
    for r in range(len(body.ratio_at)):
        out, into = 0.0, 0.0
        for p in range(WIDTH):
            out += body.ratio_weights[r, 0, p] * volts[body.ratio_nodes[r, 0, p]]
            into += body.ratio_weights[r, 1, p] * volts[body.ratio_nodes[r, 1, p]]
        share = min(max(out, 0.0) / (body.efficiency[r] * max(into, body.floor[r])), 1.0)
        if abs(share - now.shares[r]) > SHARE_LEAST + SHARE_PART * share:
            settled = False
            # a weak supply makes the repetition swing: from the tenth trial on it goes half the way
            now.shares[r] = share if trial < 10 else 0.5 * (share + now.shares[r])
    return settled


@compiled
def _solve(body: Body, drive: Drive, now: Now, volts: Floats, late: float, scale: float, store: Store, w: Work) -> int:
    """Put into ``volts`` the solution of one stage with the past in ``w.history``; return the slot of its inverse.

    ``late`` is the time since the start of the drive. -1 says that the modes go round in circles.
    """
    n = store.inverse.shape[1]
    for trial in range(NEWTON_STEPS):
        slot = _slot(body, drive, now.conducting, scale, store)
        if slot < 0:
            return -1
        w.right[:] = 0.0
        for k in range(len(now.conducting)):
            if not drive.allowed[k] or body.shared[k] or (body.clamped[k] and not now.conducting[k]):
                continue
            given = body.conductance[k] * (drive.threshold[k] + drive.rate[k] * late)
            if given != 0.0:
                for p in range(WIDTH):
                    w.right[body.inject_at[k, p]] += body.inject_weight[k, p] * given
        for c in range(len(body.farads)):
            amps = scale * body.farads[c] * w.history[c]
            w.right[body.plus[c]] += amps
            w.right[body.minus[c]] -= amps
        volts[:n] = np.dot(store.inverse[slot], w.right[:n])
        volts[n] = 0.0
        if len(body.ratio_at):
            _share_amps(body, drive, now, volts, late, store.inverse[slot], w)
        same = _wanted(body, drive, now, volts, late, w)
        if not same:
            for k in range(len(now.conducting)):
                now.conducting[k] = w.wanted[k]
        if _shares(body, now, volts, trial) and same:
            return slot
    return -1


@compiled
def jump(body: Body, drive: Drive, now: Now, time: float, h: float, store: Store, w: Work) -> bool:
    """Take one short backward Euler step: what has no capacitance jumps, capacitances hardly move."""
    w.before[:] = now.conducting
    w.history[:] = now.charge
    slot = _solve(body, drive, now, now.volts, time + h - drive.start, 1.0 / h, store, w)
    if slot < 0:
        now.conducting[:] = w.before
        return False
    for c in range(len(body.farads)):
        fresh = now.volts[body.plus[c]] - now.volts[body.minus[c]]
        now.slope[c] = (fresh - now.charge[c]) / h
        now.charge[c] = fresh
    return True


@compiled
def _error(
    body: Body, now: Now, h: float, scale: float, slot: int, store: Store, w: Work, least: float, part: float
) -> float:
    """Return the error of a step as a multiple of what is allowed."""
    n = store.inverse.shape[1]
    w.right[:] = 0.0
    for c in range(len(body.farads)):
        off = h * (
            (W - THIRD_START) * now.slope[c] + (W - THIRD_MIDDLE) * w.middle_slope[c] + (D - THIRD_END) * w.end_slope[c]
        )
        amps = scale * body.farads[c] * off
        w.right[body.plus[c]] += amps
        w.right[body.minus[c]] -= amps
    w.right[:n] = np.dot(store.inverse[slot], w.right[:n])
    w.right[n] = 0.0
    worst = 0.0
    for c in range(len(body.farads)):
        off = w.right[body.plus[c]] - w.right[body.minus[c]]
        allowed = least + part * max(abs(now.charge[c]), abs(w.end[c]))
        worst = max(worst, abs(off) / allowed)
    return worst


@compiled
def _stages(body: Body, drive: Drive, now: Now, time: float, h: float, scale: float, store: Store, w: Work) -> int:
    """Work out both stages of a step into the scratch space; return the slot of the last inverse, or -1."""
    late = time - drive.start
    w.middle_volts[:] = now.volts
    for c in range(len(body.farads)):
        w.history[c] = now.charge[c] + now.slope[c] / scale
    if _solve(body, drive, now, w.middle_volts, late + GAMMA * h, scale, store, w) < 0:
        return -1
    for c in range(len(body.farads)):
        w.middle[c] = w.middle_volts[body.plus[c]] - w.middle_volts[body.minus[c]]
        w.middle_slope[c] = scale * (w.middle[c] - w.history[c])
    for c in range(len(body.farads)):
        w.history[c] = now.charge[c] + h * W * (now.slope[c] + w.middle_slope[c])
    slot = _solve(body, drive, now, w.end_volts, late + h, scale, store, w)
    if slot < 0:
        return -1
    for c in range(len(body.farads)):
        w.end[c] = w.end_volts[body.plus[c]] - w.end_volts[body.minus[c]]
        w.end_slope[c] = scale * (w.end[c] - w.history[c])
    return slot


@compiled
def _row(drive: Drive, row: int, volts: Floats) -> float:
    """Return how far a row is beyond its limit (V), on the side that is watched."""
    total = -drive.row_limit[row]
    for p in range(WIDTH):
        total += drive.row_weight[row, p] * volts[drive.row_at[row, p]]
    return float(total * drive.row_sign[row])


@compiled
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


@compiled
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


@compiled
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


@compiled
def _whole(h: float) -> float:
    """Return the largest of the step sizes in use that is not above ``h``."""
    return float(FINEST * 2.0 ** math.floor(math.log2(max(h, FINEST) / FINEST) + 1e-9))


@compiled
def march(
    body: Body, drive: Drive, now: Now, store: Store, w: Work, trace: Trace,
    time: float, end: float, h: float, longest: float, least: float, part: float,
) -> tuple[int, float, float, int, int, int]:  # fmt: skip
    """Go on until ``end``, or until a watched row is crossed.

    ``least`` (V) and ``part`` are the error that one step may have. Returns why it ended, the time, the size of the
    next step, the number of points in the trace, the number of steps tried, and the row that was crossed or -1.
    """
    points, tried = 0, 0
    h = _whole(h)
    while time < end:
        if points >= len(trace.times):
            return FULL, time, h, points, tried, -1
        h = min(h, _whole(longest))
        last = time + h >= end - FINEST
        size = end - time if last else h
        tried += 1
        scale = 1.0 / (D * size)
        w.before[:] = now.conducting
        w.shares[:] = now.shares
        slot = _stages(body, drive, now, time, size, scale, store, w)
        wrong = np.inf if slot < 0 else _error(body, now, size, scale, slot, store, w, least, part)
        good = wrong <= 1.0
        share, row = 2.0, -1
        if good:
            share, row = _crossing(drive, now, w)
        if not good or (row >= 0 and size > KINK_STEP and not np.array_equal(w.before, now.conducting)):
            now.conducting[:] = w.before
            now.shares[:] = w.shares
            if not good and size <= 2.0 * FINEST:
                return STUCK, time, FINEST, points, tried, -1
            if good:
                h = _whole(max(0.25 * size, 0.5 * KINK_STEP))
            else:
                h = _whole(size * (0.125 if slot < 0 else max(0.125, min(0.5, SAFETY * wrong ** (-1.0 / 3.0)))))
            continue
        if row >= 0:
            _land(now, w, size, share)
            time += share * size
        else:
            now.charge[:] = w.end
            now.slope[:] = w.end_slope
            now.volts[:] = w.end_volts
            time = end if last else time + size
        trace.times[points] = time
        trace.volts[points] = now.volts
        points += 1
        if row >= 0:
            return CROSSED, time, h, points, tried, row
        if not last:
            h = _whole(h * (LARGEST_GROWTH if wrong < 1e-6 else min(LARGEST_GROWTH, SAFETY * wrong ** (-1.0 / 3.0))))
    return REACHED, time, h, points, tried, -1
