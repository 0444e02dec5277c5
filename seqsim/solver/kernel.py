"""Steady levels compiled: the same algorithm as `plain`, its linear solutions as updates of one factorisation.

With J = G + Σ g b aᵀ of a reference state, Z = J⁻¹ and v₀ its volts, a hinge that conducts ``γ (a·v - t)`` where the
reference has ``γᵣ (a·v - tᵣ)`` adds the current ``d = δ a·v - τ`` with ``δ = γ - γᵣ`` and ``τ = γ t - γᵣ tᵣ``. Only the
hinges S with δ or τ ≠ 0 matter: ``(I + δ M) d = δ (a·v₀) - τ`` with ``M = A_S Z B_S``, and ``v = v₀ - Z B_S d`` (the
matrix inversion lemma). The cost follows what a patch flips and not the size of the board.

Importing this module imports numba.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.jit import compiled

NEWTON, LINE_SEARCH, SOURCE_STEPPING, FAILED = 0, 1, 2, 3
STEADY, OSCILLATES, NO_LEVEL = 0, 1, 2
NEARLY = 1e-9
NEWTON_STEPS = 60
ROUNDS = 200
RATIO_STEPS = 100
RATIO_TOLERANCE = 1e-9
LEAK = 1e-9
SEARCH_STEPS = 40
HALVINGS = 12


class Hinges(NamedTuple):
    """Hinges of the network, then room for the ports of one variant; nodes with ground last."""

    sense_at: Ints
    sense_weight: Floats
    inject_at: Ints
    inject_weight: Floats
    conductance: Floats
    threshold: Floats
    gate: Ints
    clamped: Bools
    after: Ints
    instead_of: Ints
    alive: Bools
    label: NDArray[np.uint64]
    """one random number a hinge: the exclusive or of those that conduct names a set of modes"""


class Rules(NamedTuple):
    """Rule rows and tables, flat; ``gates`` are the static gates of the power state."""

    rise_at: Ints
    rise_weight: Floats
    rising: Floats
    fall_at: Ints
    fall_weight: Floats
    falling: Floats
    kind: Ints
    row_start: Ints
    table_start: Ints
    table: Ints
    gate_start: Ints
    driven: Ints
    gates: Bools
    gate_force: NDArray[np.int8]
    side_force: NDArray[np.int8]


class Ratios(NamedTuple):
    """Input-current ratios: hinge, nodes (k, 2, WIDTH) and weights of output and input."""

    at: Ints
    nodes: Ints
    weights: Floats
    efficiency: Floats
    floor: Floats


class Reference(NamedTuple):
    """The factorised reference: inverse (N, N) with a zero row and column for ground, volts (N,), and per hinge the
    conductance with which it takes part there; ``count`` hinges belong to the network.
    """

    inverse: Floats
    volts: Floats
    active: Floats
    count: int


class Work(NamedTuple):
    """Scratch space, and the answer: volts (N,), conducting (t,), above (r,), ratios (k,)."""

    volts: Floats
    conducting: Bools
    wanted: Bools
    across: Floats
    gates: Bools
    above: Bools
    fresh: Bools
    ratios: Floats
    chosen: Ints
    delta: Floats
    tau: Floats
    small: Floats
    right: Floats
    nodal: Floats
    active: Floats
    size: Ints
    """size[0]: hinges in the network and the variant; size[1]: number chosen"""


@compiled
def _eliminate(matrix: Floats, right: Floats, n: int) -> bool:
    """Solve in place by Gaussian elimination with row pivoting."""
    for k in range(n):
        pivot, best = k, abs(matrix[k, k])
        for i in range(k + 1, n):
            if abs(matrix[i, k]) > best:
                pivot, best = i, abs(matrix[i, k])
        if best < 1e-300:
            return False
        if pivot != k:
            for j in range(k, n):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
            right[k], right[pivot] = right[pivot], right[k]
        inverse = 1.0 / matrix[k, k]
        for i in range(k + 1, n):
            factor = matrix[i, k] * inverse
            if factor != 0.0:
                for j in range(k + 1, n):
                    matrix[i, j] -= factor * matrix[k, j]
                right[i] -= factor * right[k]
    for k in range(n - 1, -1, -1):
        total = right[k]
        for j in range(k + 1, n):
            total -= matrix[k, j] * right[j]
        right[k] = total / matrix[k, k]
    return True


@compiled
def _choose(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> int:
    """List the hinges that take part otherwise than in the reference, with δ and τ."""
    total = w.size[0]
    for k in range(total):
        on = h.alive[k] and (h.gate[k] < 0 or w.gates[h.gate[k]]) and (not h.clamped[k] or w.conducting[k])
        w.active[k] = h.conductance[k] if on else 0.0
    for i in range(len(ratios.at)):
        w.active[ratios.at[i]] *= w.ratios[i]
    n = 0
    for k in range(total):
        here = w.active[k]
        there = ref.active[k] if k < ref.count else 0.0
        if here != there:
            if n >= len(w.chosen):
                return -1
            w.chosen[n] = k
            w.delta[n] = here - there
            w.tau[n] = (here - there) * h.threshold[k]
            n += 1
    w.size[1] = n
    return n


@compiled
def _couple(h: Hinges, ref: Reference, w: Work, n: int) -> None:
    """Fill ``small`` with I + δ M of the chosen hinges."""
    for i in range(n):
        row = w.chosen[i]
        for j in range(n):
            column = w.chosen[j]
            total = 0.0
            for p in range(WIDTH):
                weight = h.sense_weight[row, p]
                if weight != 0.0:
                    at = h.sense_at[row, p]
                    for q in range(WIDTH):
                        other = h.inject_weight[column, q]
                        if other != 0.0:
                            total += weight * other * ref.inverse[at, h.inject_at[column, q]]
            w.small[i, j] = w.delta[i] * total
        w.small[i, i] += 1.0


@compiled
def _linear(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> bool:
    """Put the volts of the held set of conducting hinges into ``w.volts``."""
    n = _choose(h, ref, ratios, w)
    if n < 0:
        return False
    size = len(ref.volts)
    if n == 0:
        for node in range(size):
            w.volts[node] = ref.volts[node]
        return True
    _couple(h, ref, w, n)
    for i in range(n):
        row = w.chosen[i]
        total = 0.0
        for p in range(WIDTH):
            total += h.sense_weight[row, p] * ref.volts[h.sense_at[row, p]]
        w.right[i] = w.delta[i] * total - w.tau[i]
    if not _eliminate(w.small, w.right, n):
        return False
    for node in range(size):
        w.nodal[node] = 0.0
    for i in range(n):
        row = w.chosen[i]
        for p in range(WIDTH):
            w.nodal[h.inject_at[row, p]] += h.inject_weight[row, p] * w.right[i]
    for node in range(size):
        w.volts[node] = ref.volts[node]
    for other in range(size):
        current = w.nodal[other]
        if current != 0.0 and other < size - 1:
            for node in range(size):
                w.volts[node] -= ref.inverse[node, other] * current
    return True


@compiled
def _modes(h: Hinges, w: Work) -> bool:
    """Put the modes that the volts ask for into ``w.wanted``; tell whether they are those held."""
    total = w.size[0]
    for k in range(total):
        if not h.clamped[k] or not h.alive[k] or (h.gate[k] >= 0 and not w.gates[h.gate[k]]):
            w.wanted[k] = False
            continue
        x = -h.threshold[k]
        for p in range(WIDTH):
            x += h.sense_weight[k, p] * w.volts[h.sense_at[k, p]]
        w.across[k] = x
        w.wanted[k] = w.conducting[k] if abs(x) < NEARLY else x > 0.0
    for k in range(total):
        path = h.after[k]
        if path >= 0 and h.alive[k] and h.clamped[path] and not w.conducting[path]:
            w.wanted[k] = False
    for k in range(total):
        path = h.after[k]
        if path >= 0 and h.alive[k] and w.conducting[k] and h.clamped[path] and not w.wanted[path]:
            if h.gate[path] < 0 or w.gates[h.gate[path]]:
                w.wanted[path] = True
                w.wanted[k] = False
    for k in range(total):
        other = h.instead_of[k]
        if other >= 0 and w.conducting[other]:
            w.wanted[k] = False
    for k in range(total):
        if w.wanted[k] != w.conducting[k]:
            return False
    return True


@compiled
def _newton(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> bool:
    seen = np.zeros(NEWTON_STEPS, dtype=np.uint64)
    total = w.size[0]
    for k in range(total):
        if w.conducting[k] and (not h.clamped[k] or not h.alive[k] or (h.gate[k] >= 0 and not w.gates[h.gate[k]])):
            w.conducting[k] = False
    for step in range(NEWTON_STEPS):
        if not _linear(h, ref, ratios, w):
            return False
        if _modes(h, w):
            return True
        name = np.uint64(0)
        for k in range(total):
            if w.wanted[k]:
                name ^= h.label[k]
        for earlier in range(step):
            if seen[earlier] == name:
                return False
        seen[step] = name
        for k in range(total):
            w.conducting[k] = w.wanted[k]
    return False


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
def _held(h: Hinges, base: Floats, conducting: Bools, total: int, matrix: Floats, active: Floats) -> Floats:
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
    return np.linalg.solve(matrix, source)


@compiled
def _base(h: Hinges, ratios: Ratios, w: Work) -> Floats:
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
def _line_search(h: Hinges, base: Floats, start: Bools, w: Work) -> bool:
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
    volts = _held(h, base, conducting, total, matrix, active)
    for _ in range(SEARCH_STEPS):
        _across(h, volts, total, across)
        for k in range(total):
            conducting[k] = h.clamped[k] and base[k] != 0.0 and across[k] > 0.0
        exact = _held(h, base, conducting, total, matrix, active)
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
def _follow(h: Hinges, base: Floats, origin: Floats, w: Work) -> bool:
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
        if last_sign != 0.0 and sign != last_sign:
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
            exact = _held(h, base, conducting, total, matrix, active)
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


@compiled
def _analog(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> int:
    """Volts and modes with gates and ratios held; the state before is the start."""
    start = w.conducting.copy()
    if _newton(h, ref, ratios, w):
        return NEWTON
    base = _base(h, ratios, w)
    way = FAILED
    if _line_search(h, base, start, w):
        way = LINE_SEARCH
    else:
        size = len(w.volts)
        if _follow(h, base, np.zeros(size), w):
            way = SOURCE_STEPPING
        else:
            matrix = np.zeros((size, size))
            active = np.zeros(len(base))
            for k in range(len(base)):
                start[k] = start[k] and h.clamped[k] and base[k] != 0.0
            origin = _held(h, base, start, len(base), matrix, active)
            if _follow(h, base, origin, w):
                way = SOURCE_STEPPING
    if way != FAILED:
        # the update form of the solution is what probing goes on from
        _choose(h, ref, ratios, w)
    return way


@compiled
def _settle_analog(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> int:
    """As `_analog`, with the input-current ratios converged."""
    count = len(ratios.at)
    worst = NEWTON
    if count == 0:
        return _analog(h, ref, ratios, w)
    first = w.ratios.copy()
    second = w.ratios.copy()
    wanted = w.ratios.copy()
    for step in range(RATIO_STEPS):
        way = _analog(h, ref, ratios, w)
        worst = max(worst, way)
        if way == FAILED:
            return FAILED
        change = 0.0
        for i in range(count):
            out, into = 0.0, 0.0
            for p in range(WIDTH):
                out += ratios.weights[i, 0, p] * w.volts[ratios.nodes[i, 0, p]]
                into += ratios.weights[i, 1, p] * w.volts[ratios.nodes[i, 1, p]]
            wanted[i] = min(max(out, 0.0) / (ratios.efficiency[i] * max(into, ratios.floor[i])), 1.0)
            change = max(change, abs(wanted[i] - w.ratios[i]))
        if change < RATIO_TOLERANCE:
            break
        for i in range(count):
            value = wanted[i]
            if step > 30:
                value = (wanted[i] + w.ratios[i]) / 2
            elif step % 3 == 2:
                before, after = second[i] - first[i], wanted[i] - second[i]
                if before != 0.0:
                    factor = after / before
                    if 0.2 < factor < 0.97:
                        value = min(max(wanted[i] + after * factor / (1 - factor), 0.0), 1.0)
            first[i], second[i] = second[i], wanted[i]
            w.ratios[i] = value
    return worst


@compiled
def _gates(rules: Rules, w: Work) -> None:
    for g in range(len(rules.gates)):
        w.gates[g] = rules.gates[g]
    for k in range(len(rules.row_start) - 1):
        pattern = 0
        for row in range(rules.row_start[k], rules.row_start[k + 1]):
            if w.above[row]:
                pattern |= 1 << (row - rules.row_start[k])
        bits = rules.table[rules.table_start[k] + pattern]
        for i in range(rules.gate_start[k], rules.gate_start[k + 1]):
            w.gates[rules.driven[i]] = (bits >> (i - rules.gate_start[k])) & 1 == 1
    for g in range(len(rules.gates)):
        if rules.gate_force[g] >= 0:
            w.gates[g] = rules.gate_force[g] == 1


@compiled
def _sides(rules: Rules, w: Work) -> int:
    """Put the sides that the volts ask for into ``w.fresh``; return how many differ."""
    changed = 0
    for row in range(len(rules.kind)):
        if rules.side_force[row] >= 0:
            w.fresh[row] = rules.side_force[row] == 1
        elif w.above[row]:
            total = 0.0
            for p in range(WIDTH):
                total += rules.fall_weight[row, p] * w.volts[rules.fall_at[row, p]]
            w.fresh[row] = total >= rules.falling[row]
        else:
            total = 0.0
            for p in range(WIDTH):
                total += rules.rise_weight[row, p] * w.volts[rules.rise_at[row, p]]
            w.fresh[row] = total > rules.rising[row]
        if w.fresh[row] != w.above[row]:
            changed += 1
    return changed


@compiled
def _refine(h: Hinges, ref: Reference, w: Work) -> None:
    """Correct the volts once by the currents that are left over.

    A node that a patch sets afloat has lost its digits in the difference of two large numbers; the leftover current
    has not.
    """
    size = len(w.volts)
    for node in range(size):
        w.nodal[node] = LEAK * w.volts[node]
    for k in range(w.size[0]):
        g = w.active[k]
        if g != 0.0:
            x = -h.threshold[k]
            for p in range(WIDTH):
                x += h.sense_weight[k, p] * w.volts[h.sense_at[k, p]]
            for q in range(WIDTH):
                w.nodal[h.inject_at[k, q]] += h.inject_weight[k, q] * g * x
    w.nodal[size - 1] = 0.0
    step = np.zeros(size)
    for other in range(size - 1):
        current = w.nodal[other]
        if current != 0.0:
            for node in range(size):
                step[node] -= ref.inverse[node, other] * current
    n = w.size[1]
    if n > 0:
        _couple(h, ref, w, n)
        for i in range(n):
            hinge = w.chosen[i]
            total = 0.0
            for p in range(WIDTH):
                total += h.sense_weight[hinge, p] * step[h.sense_at[hinge, p]]
            w.right[i] = w.delta[i] * total
        if not _eliminate(w.small, w.right, n):
            return
        for node in range(size):
            w.nodal[node] = 0.0
        for i in range(n):
            hinge = w.chosen[i]
            for p in range(WIDTH):
                w.nodal[h.inject_at[hinge, p]] += h.inject_weight[hinge, p] * w.right[i]
        for other in range(size - 1):
            current = w.nodal[other]
            if current != 0.0:
                for node in range(size):
                    step[node] -= ref.inverse[node, other] * current
    for node in range(size):
        w.volts[node] += step[node]


@compiled
def settle(h: Hinges, ref: Reference, rules: Rules, ratios: Ratios, w: Work) -> tuple[int, int]:
    """Settle from the state in ``w``; return steadiness and the worst way that an analog solution took."""
    rows = len(rules.kind)
    seen = np.zeros((ROUNDS, max(rows, 1)), dtype=np.bool_)
    count = 0
    one_by_one = False
    worst = NEWTON
    total = np.zeros(len(w.volts))
    for row in range(rows):
        if rules.side_force[row] >= 0:
            w.above[row] = rules.side_force[row] == 1
    averaging, repeat_at = False, -1
    for _ in range(ROUNDS):
        _gates(rules, w)
        way = _settle_analog(h, ref, ratios, w)
        worst = max(worst, way)
        if way == FAILED:
            return NO_LEVEL, worst
        if _sides(rules, w) == 0:
            _refine(h, ref, w)
            return STEADY, worst
        if averaging:
            total += w.volts
            count += 1
            if count == repeat_at:
                w.volts[:] = total / count
                return OSCILLATES, worst
        else:
            for earlier in range(count):
                same = True
                for row in range(rows):
                    if seen[earlier, row] != w.above[row]:
                        same = False
                        break
                if same:
                    if one_by_one:
                        # go once more round the cycle, averaging
                        averaging, repeat_at = True, count - earlier
                        total[:] = w.volts
                    one_by_one = True
                    count = 0
                    break
            if averaging:
                count = 1
                if count == repeat_at:
                    return OSCILLATES, worst
            else:
                for row in range(rows):
                    seen[count, row] = w.above[row]
                count += 1
        if one_by_one:
            chosen, fastest = -1, 1 << 30
            for row in range(rows):
                if w.fresh[row] != w.above[row] and rules.kind[row] < fastest:
                    chosen, fastest = row, rules.kind[row]
            w.above[chosen] = w.fresh[chosen]
        else:
            for row in range(rows):
                w.above[row] = w.fresh[row]
    return OSCILLATES, worst


@compiled
def probe(h: Hinges, ref: Reference, w: Work, plus: int, minus: int, row: Floats) -> float:
    """Put ``cᵀ J⁻¹`` of the settled network, c between two nodes, into ``row`` (N,); return the Thevenin ohms.

    ``w`` must hold the settled state with its chosen hinges.
    """
    size = len(w.volts)
    for node in range(size):
        row[node] = ref.inverse[plus, node] - ref.inverse[minus, node]
    n = w.size[1]
    if n > 0:
        _couple(h, ref, w, n)
        # transposed system: small is overwritten by its transpose
        for i in range(n):
            for j in range(i + 1, n):
                w.small[i, j], w.small[j, i] = w.small[j, i], w.small[i, j]
        for i in range(n):
            hinge = w.chosen[i]
            total = 0.0
            for p in range(WIDTH):
                total += h.inject_weight[hinge, p] * row[h.inject_at[hinge, p]]
            w.right[i] = total
        _eliminate(w.small, w.right, n)
        for i in range(n):
            factor = w.right[i] * w.delta[i]
            if factor != 0.0:
                hinge = w.chosen[i]
                for p in range(WIDTH):
                    weight = h.sense_weight[hinge, p] * factor
                    if weight != 0.0:
                        at = h.sense_at[hinge, p]
                        for node in range(size):
                            row[node] -= weight * ref.inverse[at, node]
    return row[plus] - row[minus]


@compiled
def restore(
    h: Hinges, ref: Reference, ratios: Ratios, rules: Rules, w: Work, conducting: Bools, above: Bools,
    kept_ratios: Floats, volts: Floats, total: int,
) -> None:  # fmt: skip
    """Bring ``w`` back to a settled state, ready to be probed."""
    w.size[0] = total
    for k in range(total):
        w.conducting[k] = conducting[k]
    w.above[:] = above
    w.ratios[:] = kept_ratios
    w.volts[:] = volts
    _gates(rules, w)
    _choose(h, ref, ratios, w)
