"""One stage of a time step, compiled: capacitances as companions, hinges by Newton's method on their modes.

A capacitance C is a conductance aC beside a current that its past gives (its companion), with ``a = 1/(d h)``; node
equations then hold exactly at every stage, whether a node has a capacitance or not. Inverses are kept by step size and
modes.

Importing this module imports numba.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.jit import borrowing, inlined, put
from seqsim.solver.plain import NEARLY
from seqsim.solver.system import LEAK

NEWTON_STEPS = 40
SHARE_LEAST = 1e-6
SHARE_PART = 1e-5
"""Accuracy, and as a part, to which the input shares of step-down regulators are found."""
SHARE_TRIALS, SHARE_ROUGH = 10, 1e-3
"""From so many trials on they go half the way, and need be no more accurate than that: where a weak supply is about to
collapse, no trial comes much nearer than the one before."""


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
    senses: Ints
    injects: Ints
    """(h,) how many places of each hinge are in use"""
    ladder: Ints
    exclusive: Ints
    """hinges that are reached through another one, and hinges that conduct instead of another one"""
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
    ``sign (weight·v - limit) > 0``; a sign of 0 means that nobody watches. Of the allowed hinges the first
    ``counts[0]`` of ``bending`` may change their modes, and the first ``counts[1]`` of ``pushing`` have a threshold;
    ``key[0]`` names those that always conduct.
    """

    start: float
    allowed: Bools
    threshold: Floats
    rate: Floats
    row_at: Ints
    row_weight: Floats
    row_limit: Floats
    row_sign: Floats
    bending: Ints
    pushing: Ints
    counts: Ints
    key: NDArray[np.uint64]


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
    """Inverses that were needed, by step size and modes; the one that was used longest ago makes room.

    ``columns`` (s, n, n) holds each transposed: what one ampere into a node makes of all volts lies in a row.
    ``clock`` holds the number of uses so far, and the inverse that was used last.
    """

    columns: Floats
    scale: Floats
    modes: NDArray[np.uint64]
    used: Ints
    clock: Ints
    work: Floats
    swapped: Ints


class Work(NamedTuple):
    """Scratch space."""

    wanted: Bools
    right: Floats
    off: Floats
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


@borrowing
def _invert(matrix: Floats, swapped: Ints) -> bool:
    """Put the inverse of ``matrix`` (n, n) in its place, by Gauss and Jordan; ``swapped`` (n,) is scratch space."""
    n = len(matrix)
    for k in range(n):
        pivot, best = k, abs(matrix[k, k])
        for i in range(k + 1, n):
            if abs(matrix[i, k]) > best:
                pivot, best = i, abs(matrix[i, k])
        if best < 1e-300:
            return False
        swapped[k] = pivot
        if pivot != k:
            for j in range(n):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
        over = 1.0 / matrix[k, k]
        matrix[k, k] = 1.0
        for j in range(n):
            matrix[k, j] *= over
        for i in range(n):
            factor = matrix[i, k]
            if i != k and factor != 0.0:
                matrix[i, k] = 0.0
                for j in range(n):
                    matrix[i, j] -= factor * matrix[k, j]
    for k in range(n - 1, -1, -1):
        other = swapped[k]
        if other != k:
            for i in range(n):
                matrix[i, k], matrix[i, other] = matrix[i, other], matrix[i, k]
    return True


@inlined
def _slot(body: Body, drive: Drive, conducting: Bools, scale: float, store: Store) -> int:
    """Return where the inverse of the step's matrix is kept, working it out if need be; -1 if it has none."""
    key = drive.key[0]
    for place in range(drive.counts[0]):
        k = drive.bending[place]
        if conducting[k]:
            key ^= body.label[k]
    store.clock[0] += 1
    last = store.clock[1]
    if store.scale[last] == scale and store.modes[last] == key:
        store.used[last] = store.clock[0]
        return int(last)
    oldest = 0
    for s in range(len(store.scale)):
        if store.scale[s] == scale and store.modes[s] == key:
            store.used[s] = store.clock[0]
            store.clock[1] = s
            return s
        if store.used[s] < store.used[oldest]:
            oldest = s
    n = store.columns.shape[1]
    matrix = store.work
    matrix[:, :] = 0.0
    for i in range(n):
        matrix[i, i] = LEAK
    for k in range(len(conducting)):
        if not drive.allowed[k] or body.shared[k] or (body.clamped[k] and not conducting[k]):
            continue
        for p in range(body.injects[k]):
            i = body.inject_at[k, p]
            if i >= n:
                continue
            drawn = body.conductance[k] * body.inject_weight[k, p]
            for q in range(body.senses[k]):
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
    if not _invert(matrix, store.swapped):
        return -1
    for i in range(n):
        put(store.columns[oldest, :, i], matrix[i])
    store.scale[oldest], store.modes[oldest], store.used[oldest] = scale, key, store.clock[0]
    store.clock[1] = oldest
    return oldest


@inlined
def apply(columns: Floats, amps: Floats, volts: Floats) -> None:
    """Put into ``volts`` (n + 1,), ground last, what currents (n + 1,) into the nodes make."""
    volts[:] = 0.0
    for node in range(len(columns)):
        into = amps[node]
        if into != 0.0:
            column = columns[node]
            for i in range(len(column)):
                volts[i] += column[i] * into


@inlined
def _wanted(body: Body, drive: Drive, now: Now, volts: Floats, late: float, w: Work) -> bool:
    """Put the modes that the volts ask for into ``w.wanted``, by the ladder; tell whether they are those held."""
    for place in range(drive.counts[0]):
        k = drive.bending[place]
        x = -drive.threshold[k] - drive.rate[k] * late
        for p in range(body.senses[k]):
            x += body.sense_weight[k, p] * volts[body.sense_at[k, p]]
        w.wanted[k] = now.conducting[k] if abs(x) < NEARLY else x > 0.0
    for k in body.ladder:
        path = body.after[k]
        if body.clamped[path] and not now.conducting[path]:
            w.wanted[k] = False
    for k in body.ladder:
        path = body.after[k]
        if not (now.conducting[k] and body.clamped[path]) or w.wanted[path]:
            continue
        if drive.allowed[path]:
            w.wanted[path] = True
            w.wanted[k] = False
    for k in body.exclusive:
        if now.conducting[body.instead_of[k]]:
            w.wanted[k] = False
    for place in range(drive.counts[0]):
        k = drive.bending[place]
        if w.wanted[k] != now.conducting[k]:
            return False
    return True


@borrowing
def _share_amps(body: Body, drive: Drive, now: Now, volts: Floats, late: float, columns: Floats, w: Work) -> None:
    """Add the input currents of step-down regulators to a solution without them, their shares held.

    The currents y follow from ``(I + D M) y = D (A v - t)`` with ``M = A Z B``, D the conductances times the shares,
    and lower the volts by ``Z B y``: the inverse that is kept does not depend on shares.
    """
    n, count = columns.shape[0], len(body.ratio_at)
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
                        total += body.sense_weight[k, p] * columns[j, i] * body.inject_weight[other, q]
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
                    volts[i] -= columns[j, i] * drawn


@inlined
def _shares(body: Body, now: Now, volts: Floats, trial: int) -> bool:
    """Put what share each step-down regulator draws at its input into ``now``; tell whether it was right already."""
    settled = True
    for r in range(len(body.ratio_at)):
        out, into = 0.0, 0.0
        for p in range(WIDTH):
            out += body.ratio_weights[r, 0, p] * volts[body.ratio_nodes[r, 0, p]]
            into += body.ratio_weights[r, 1, p] * volts[body.ratio_nodes[r, 1, p]]
        share = min(max(out, 0.0) / (body.efficiency[r] * max(into, body.floor[r])), 1.0)
        allowed = SHARE_LEAST + SHARE_PART * share if trial < SHARE_TRIALS else SHARE_ROUGH
        if abs(share - now.shares[r]) > allowed:
            settled = False
            now.shares[r] = share if trial < SHARE_TRIALS else 0.5 * (share + now.shares[r])
    return settled


@borrowing
def solve_stage(
    body: Body, drive: Drive, now: Now, volts: Floats, late: float, scale: float, store: Store, w: Work
) -> int:
    """Put into ``volts`` the solution of one stage with the past in ``w.history``; return the slot of its inverse.

    ``late`` is the time since the start of the drive. -1 says that the modes go round in circles.
    """
    for trial in range(NEWTON_STEPS):
        slot = _slot(body, drive, now.conducting, scale, store)
        if slot < 0:
            return -1
        w.right[:] = 0.0
        for place in range(drive.counts[1]):
            k = drive.pushing[place]
            if body.clamped[k] and not now.conducting[k]:
                continue
            given = body.conductance[k] * (drive.threshold[k] + drive.rate[k] * late)
            for p in range(body.injects[k]):
                w.right[body.inject_at[k, p]] += body.inject_weight[k, p] * given
        for c in range(len(body.farads)):
            amps = scale * body.farads[c] * w.history[c]
            w.right[body.plus[c]] += amps
            w.right[body.minus[c]] -= amps
        apply(store.columns[slot], w.right, volts)
        if len(body.ratio_at):
            _share_amps(body, drive, now, volts, late, store.columns[slot], w)
        same = _wanted(body, drive, now, volts, late, w)
        if not same:
            for place in range(drive.counts[0]):
                now.conducting[drive.bending[place]] = w.wanted[drive.bending[place]]
        if _shares(body, now, volts, trial) and same:
            return slot
    return -1


@borrowing
def jump(body: Body, drive: Drive, now: Now, time: float, h: float, store: Store, w: Work) -> bool:
    """Take one short backward Euler step: what has no capacitance jumps, capacitances hardly move."""
    put(w.before, now.conducting)
    put(w.history, now.charge)
    slot = solve_stage(body, drive, now, now.volts, time + h - drive.start, 1.0 / h, store, w)
    if slot < 0:
        put(now.conducting, w.before)
        return False
    for c in range(len(body.farads)):
        fresh = now.volts[body.plus[c]] - now.volts[body.minus[c]]
        now.slope[c] = (fresh - now.charge[c]) / h
        now.charge[c] = fresh
    return True
