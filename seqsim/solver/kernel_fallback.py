"""The fallbacks compiled: a line search on the residual, then source stepping; see `fallback`."""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats
from seqsim.solver.arrays import Hinges, Ratios, Work
from seqsim.solver.fallback import HALVINGS, SEARCH_STEPS
from seqsim.solver.jit import compiled
from seqsim.solver.plain import NEARLY
from seqsim.solver.system import LEAK


@compiled
def _assemble(h: Hinges, active: Floats, total: int, matrix: Floats) -> None:
    """Fill the dense Jacobian (N, N); the last row and column are ground's."""
    size = len(matrix)
    matrix[:, :] = 0.0
    for node in range(size):
        matrix[node, node] = LEAK
    for k in range(total):
        if active[k] != 0.0:
            for q in range(WIDTH):
                inject = h.inject_weight[k, q] * active[k]
                if inject != 0.0:
                    for p in range(WIDTH):
                        matrix[h.inject_at[k, q], h.sense_at[k, p]] += inject * h.sense_weight[k, p]
    matrix[size - 1, :] = 0.0
    matrix[:, size - 1] = 0.0
    matrix[size - 1, size - 1] = 1.0


@compiled
def _across(h: Hinges, volts: Floats, total: int, across: Floats) -> None:
    for k in range(total):
        x = -h.threshold[k]
        for p in range(WIDTH):
            x += h.sense_weight[k, p] * volts[h.sense_at[k, p]]
        across[k] = x


@compiled
def _left_over(h: Hinges, base: Floats, across: Floats, volts: Floats, total: int, left: Floats) -> None:
    """Put the residual current of every node, at the true law of every hinge, into ``left``."""
    size = len(volts)
    for node in range(size):
        left[node] = LEAK * volts[node]
    for k in range(total):
        if base[k] != 0.0 and (not h.clamped[k] or across[k] > 0.0):
            current = base[k] * across[k]
            for q in range(WIDTH):
                left[h.inject_at[k, q]] += h.inject_weight[k, q] * current
    left[size - 1] = 0.0


@compiled
def held(h: Hinges, base: Floats, conducting: Bools, total: int, matrix: Floats, active: Floats) -> Floats:
    """Volts with a set of conducting hinges held, by a dense solution."""
    for k in range(total):
        active[k] = base[k] if (not h.clamped[k] or conducting[k]) else 0.0
    _assemble(h, active, total, matrix)
    size = len(matrix)
    source = np.zeros(size)
    for k in range(total):
        if active[k] != 0.0:
            for q in range(WIDTH):
                source[h.inject_at[k, q]] += h.inject_weight[k, q] * active[k] * h.threshold[k]
    source[size - 1] = 0.0
    source[:] = np.linalg.solve(matrix, source)
    return source


@compiled
def conductances(h: Hinges, ratios: Ratios, w: Work) -> Floats:
    """Conductance of every hinge as it would conduct, ratios applied, zero where its gate is off."""
    total = w.size[0]
    base = np.zeros(total)
    for k in range(total):
        if h.alive[k] and (h.gate[k] < 0 or w.gates[h.gate[k]]):
            base[k] = h.conductance[k]
    for i in range(len(ratios.at)):
        base[ratios.at[i]] *= w.ratios[i]
    return base


@compiled
def _consistent(h: Hinges, base: Floats, conducting: Bools, across: Floats, total: int, slack: float) -> bool:
    for k in range(total):
        if h.clamped[k] and base[k] != 0.0:
            if conducting[k] and across[k] < -slack:
                return False
            if not conducting[k] and across[k] > slack:
                return False
    return True


@compiled
def line_search(h: Hinges, base: Floats, start: Bools, w: Work) -> bool:
    """Shorten Newton steps until the residual falls; put volts and modes into ``w`` if that ends well."""
    total = w.size[0]
    size = len(w.volts)
    matrix = np.zeros((size, size))
    active = np.zeros(total)
    across = np.zeros(total)
    left = np.zeros(size)
    trial_left = np.zeros(size)
    conducting = np.zeros(total, dtype=np.bool_)
    for k in range(total):
        conducting[k] = start[k] and h.clamped[k] and base[k] != 0.0
    volts = held(h, base, conducting, total, matrix, active)
    for _ in range(SEARCH_STEPS):
        _across(h, volts, total, across)
        for k in range(total):
            conducting[k] = h.clamped[k] and base[k] != 0.0 and across[k] > 0.0
        exact = held(h, base, conducting, total, matrix, active)
        trial_across = np.zeros(total)
        _across(h, exact, total, trial_across)
        if _consistent(h, base, conducting, trial_across, total, NEARLY):
            for node in range(size):
                w.volts[node] = exact[node]
            for k in range(total):
                w.conducting[k] = conducting[k]
            return True
        _left_over(h, base, across, volts, total, left)
        merit = 0.0
        for node in range(size - 1):
            merit += (left[node] / matrix[node, node]) ** 2
        share, found = 1.0, False
        for _ in range(HALVINGS):
            trial = volts + share * (exact - volts)
            _across(h, trial, total, trial_across)
            _left_over(h, base, trial_across, trial, total, trial_left)
            value = 0.0
            for node in range(size - 1):
                value += (trial_left[node] / matrix[node, node]) ** 2
            if value < merit:
                volts = trial
                found = True
                break
            share /= 2
        if not found:
            return False
    return False


@compiled
def follow(h: Hinges, base: Floats, origin: Floats, w: Work) -> bool:
    """Lead the sources from what makes ``origin`` a solution to their true values, hinge by hinge."""
    total = w.size[0]
    size = len(w.volts)
    matrix = np.zeros((size, size))
    active = np.zeros(total)
    across = np.zeros(total)
    rate = np.zeros(total)
    missing = np.zeros(size)
    conducting = np.zeros(total, dtype=np.bool_)
    volts = origin.copy()
    _across(h, volts, total, across)
    for k in range(total):
        conducting[k] = h.clamped[k] and base[k] != 0.0 and across[k] > 0.0
    _left_over(h, base, across, volts, total, missing)
    done, direction, last_sign = 0.0, 1.0, 0.0
    for _ in range(6 * total + 200):
        for k in range(total):
            active[k] = base[k] if (not h.clamped[k] or conducting[k]) else 0.0
        _assemble(h, active, total, matrix)
        sign = np.linalg.slogdet(matrix)[0]
        if sign == 0.0:
            return False
        if last_sign not in (0.0, sign):
            direction = -direction
        last_sign = sign
        slope = -direction * np.linalg.solve(matrix, missing)
        slope[size - 1] = 0.0
        _across(h, volts, total, across)
        nearest, length = -1, np.inf
        for k in range(total):
            if h.clamped[k] and base[k] != 0.0:
                r = 0.0
                for p in range(WIDTH):
                    r += h.sense_weight[k, p] * slope[h.sense_at[k, p]]
                rate[k] = r
                if (conducting[k] and r < -1e-15) or (not conducting[k] and r > 1e-15):
                    distance = max(-across[k] / r, 0.0)
                    if distance < length:
                        nearest, length = k, distance
        if direction > 0 and length >= 1.0 - done:
            exact = held(h, base, conducting, total, matrix, active)
            _across(h, exact, total, across)
            if not _consistent(h, base, conducting, across, total, 1e-6):
                return False
            for node in range(size):
                w.volts[node] = exact[node]
            for k in range(total):
                w.conducting[k] = conducting[k]
            return True
        if nearest < 0:
            return False
        volts = volts + slope * length
        done += direction * length
        conducting[nearest] = not conducting[nearest]
    return False
