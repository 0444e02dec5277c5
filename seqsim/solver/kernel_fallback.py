"""The fallbacks compiled: one hinge at a time, a line search, source stepping; see `fallback`."""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats
from seqsim.solver.arrays import FAILED, LINE_SEARCH, ONE_AT_A_TIME, SOURCE_STEPPING, Hinges, Ratios, Reference
from seqsim.solver.fallback import HALVINGS, LOOSE, SEARCH_STEPS, SINGLE_STEPS, STILL
from seqsim.solver.jit import compiled
from seqsim.solver.plain import NEARLY
from seqsim.solver.system import LEAK
from seqsim.solver.update import linear, refine, respond
from seqsim.solver.work import HINGES, Work


@compiled
def fall_back(h: Hinges, ref: Reference, ratios: Ratios, w: Work, start: Bools) -> int:
    """Find volts and modes from the modes ``start``; return the way."""
    base = _conductances(h, ratios, w)
    allowed = np.zeros(len(base), dtype=np.bool_)
    _allow(h, base, allowed)
    for k in range(w.size[HINGES]):
        start[k] = start[k] and allowed[k]
    if _one_at_a_time(h, ref, ratios, w, allowed, start):
        return ONE_AT_A_TIME
    if _line_search(h, ref, ratios, w, base, allowed, start):
        return LINE_SEARCH
    if _follow(h, ref, ratios, w, base, allowed, np.zeros(len(w.volts))):
        return SOURCE_STEPPING
    w.conducting[: w.size[HINGES]] = start
    if linear(h, ref, ratios, w) != 0.0 and _follow(h, ref, ratios, w, base, allowed, w.volts.copy()):
        return SOURCE_STEPPING
    return FAILED


@compiled
def _conductances(h: Hinges, ratios: Ratios, w: Work) -> Floats:
    """Conductance of every hinge as it would conduct, ratios applied, zero where its gate is off."""
    total = w.size[HINGES]
    base = np.zeros(total)
    for k in range(total):
        if h.alive[k] and (h.gate[k] < 0 or w.gates[h.gate[k]]):
            base[k] = h.conductance[k]
    for i in range(len(ratios.at)):
        if ratios.at[i] < total:
            base[ratios.at[i]] *= w.ratios[i]
    return base


@compiled
def _across(h: Hinges, volts: Floats, total: int, across: Floats) -> None:
    for k in range(total):
        x = -h.threshold[k]
        for p in range(WIDTH):
            x += h.sense_weight[k, p] * volts[h.sense_at[k, p]]
        across[k] = x


@compiled
def _allow(h: Hinges, base: Floats, allowed: Bools) -> None:
    """Put which hinges may change their mode into ``allowed``; as arrays, since a call a hinge would cost far more."""
    for k in range(len(base)):
        allowed[k] = h.clamped[k] and base[k] != 0.0


@compiled
def _most_wrong(h: Hinges, w: Work, allowed: Bools) -> tuple[int, float]:
    """Return the hinge that is farthest on the wrong side of its threshold, and how far."""
    worst, most = -1, -np.inf
    _across(h, w.volts, w.size[HINGES], w.across)
    for k in range(w.size[HINGES]):
        if allowed[k]:
            wrong = -w.across[k] if w.conducting[k] else w.across[k]
            if wrong > most:
                worst, most = k, wrong
    return worst, most


@compiled
def _one_at_a_time(h: Hinges, ref: Reference, ratios: Ratios, w: Work, allowed: Bools, start: Bools) -> bool:
    """Flip, at each step, only the hinge that is most wrong."""
    names = np.zeros(SINGLE_STEPS, dtype=np.uint64)
    name = np.uint64(0)
    for k in range(w.size[HINGES]):
        w.conducting[k] = start[k]
    for step in range(SINGLE_STEPS):
        if linear(h, ref, ratios, w) == 0.0:
            return False
        refine(h, ref, w)
        worst, wrong = _most_wrong(h, w, allowed)
        if wrong <= NEARLY:
            return True
        w.conducting[worst] = not w.conducting[worst]
        name ^= h.label[worst]
        for earlier in range(step):
            if names[earlier] == name:
                return False
        names[step] = name
    return False


@compiled
def _left_over(h: Hinges, base: Floats, across: Floats, volts: Floats, left: Floats) -> None:
    """Put the residual current of every node, at the true law of every hinge, into ``left``."""
    size = len(volts)
    for node in range(size):
        left[node] = LEAK * volts[node]
    for k in range(len(base)):
        if base[k] != 0.0 and (not h.clamped[k] or across[k] > 0.0):
            current = base[k] * across[k]
            for q in range(WIDTH):
                left[h.inject_at[k, q]] += h.inject_weight[k, q] * current
    left[size - 1] = 0.0


@compiled
def _diagonal(h: Hinges, active: Floats, total: int, diagonal: Floats) -> None:
    """Put the diagonal of the Jacobian into ``diagonal`` (N,)."""
    diagonal[:] = LEAK
    for k in range(total):
        if active[k] != 0.0:
            for q in range(WIDTH):
                for p in range(WIDTH):
                    if h.inject_at[k, q] == h.sense_at[k, p]:
                        diagonal[h.inject_at[k, q]] += h.inject_weight[k, q] * h.sense_weight[k, p] * active[k]


@compiled
def _merit(left: Floats, diagonal: Floats) -> float:
    total = 0.0
    for node in range(len(left) - 1):
        total += (left[node] / diagonal[node]) ** 2
    return total


@compiled
def _line_search(
    h: Hinges, ref: Reference, ratios: Ratios, w: Work, base: Floats, allowed: Bools, start: Bools
) -> bool:
    """Shorten Newton steps until the residual falls; put volts and modes into ``w`` if that ends well."""
    total = w.size[HINGES]
    size = len(w.volts)
    across = np.zeros(total)
    left, diagonal = np.zeros(size), np.zeros(size)
    w.conducting[:total] = start
    if linear(h, ref, ratios, w) == 0.0:
        return False
    volts = w.volts.copy()
    for _ in range(SEARCH_STEPS):
        _across(h, volts, total, across)
        for k in range(total):
            w.conducting[k] = allowed[k] and across[k] > 0.0
        if linear(h, ref, ratios, w) == 0.0:
            return False
        refine(h, ref, w)
        _, wrong = _most_wrong(h, w, allowed)
        if wrong <= NEARLY:
            return True
        _diagonal(h, w.active, total, diagonal)
        _left_over(h, base, across, volts, left)
        merit = _merit(left, diagonal)
        share, found = 1.0, False
        for _ in range(HALVINGS):
            trial = volts + share * (w.volts - volts)
            _across(h, trial, total, across)
            _left_over(h, base, across, trial, left)
            if _merit(left, diagonal) < merit:
                volts = trial
                found = True
                break
            share /= 2
        if not found:
            return False
    return False


@compiled
def _follow(h: Hinges, ref: Reference, ratios: Ratios, w: Work, base: Floats, allowed: Bools, origin: Floats) -> bool:
    """Lead the sources from what makes ``origin`` a solution to their true values, hinge by hinge."""
    total = w.size[HINGES]
    size = len(origin)
    across, rate = np.zeros(total), np.zeros(total)
    missing, slope = np.zeros(size), np.zeros(size)
    volts = origin.copy()
    _across(h, volts, total, across)
    for k in range(total):
        w.conducting[k] = allowed[k] and across[k] > 0.0
    _left_over(h, base, across, volts, missing)
    done, direction, last_sign = 0.0, 1.0, 0.0
    for _ in range(6 * total + 200):
        sign = linear(h, ref, ratios, w)
        if sign == 0.0:
            return False
        if last_sign not in (0.0, sign):
            direction = -direction
        last_sign = sign
        respond(h, ref, w, direction * missing, slope)
        _across(h, volts, total, across)
        nearest, length = -1, np.inf
        for k in range(total):
            if allowed[k]:
                r = 0.0
                for p in range(WIDTH):
                    r += h.sense_weight[k, p] * slope[h.sense_at[k, p]]
                rate[k] = r
                if (w.conducting[k] and r < -STILL) or (not w.conducting[k] and r > STILL):
                    distance = max(-across[k] / r, 0.0)
                    if distance < length:
                        nearest, length = k, distance
        if direction > 0 and length >= 1.0 - done:
            # `linear` has put the true solution of these modes into `w`
            _, wrong = _most_wrong(h, w, allowed)
            return wrong <= LOOSE
        if nearest < 0:
            return False
        volts = volts + slope * length
        done += direction * length
        w.conducting[nearest] = not w.conducting[nearest]
    return False
