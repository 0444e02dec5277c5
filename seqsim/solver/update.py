"""Linear solutions as updates of one factorisation.

With J = G + Σ g b aᵀ of a reference state, Z = J⁻¹ and v₀ its volts, a hinge that conducts ``γ (a·v - t)`` where the
reference has ``γᵣ (a·v - tᵣ)`` adds the current ``d = δ a·v - τ`` with ``δ = γ - γᵣ`` and ``τ = γ t - γᵣ tᵣ``. Only the
hinges S with δ or τ ≠ 0 matter: ``(I + δ M) d = δ (a·v₀) - τ`` with ``M = A_S Z B_S``, and ``v = v₀ - Z B_S d`` (the
matrix inversion lemma). The cost follows what a patch flips and not the size of the board.
"""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Floats
from seqsim.solver.arrays import Hinges, Ratios, Reference, Work
from seqsim.solver.jit import compiled
from seqsim.solver.system import LEAK


@compiled
def eliminate(matrix: Floats, right: Floats, n: int) -> bool:
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
def choose(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> int:
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
        there = ref.active[k] if k < len(ref.active) else 0.0
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
def couple(h: Hinges, ref: Reference, w: Work, n: int) -> None:
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
def linear(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> bool:
    """Put the volts of the held set of conducting hinges into ``w.volts``."""
    n = choose(h, ref, ratios, w)
    if n < 0:
        return False
    size = len(ref.volts)
    if n == 0:
        for node in range(size):
            w.volts[node] = ref.volts[node]
        return True
    couple(h, ref, w, n)
    for i in range(n):
        row = w.chosen[i]
        total = 0.0
        for p in range(WIDTH):
            total += h.sense_weight[row, p] * ref.volts[h.sense_at[row, p]]
        w.right[i] = w.delta[i] * total - w.tau[i]
    if not eliminate(w.small, w.right, n):
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
def refine(h: Hinges, ref: Reference, w: Work) -> None:
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
        couple(h, ref, w, n)
        for i in range(n):
            hinge = w.chosen[i]
            total = 0.0
            for p in range(WIDTH):
                total += h.sense_weight[hinge, p] * step[h.sense_at[hinge, p]]
            w.right[i] = w.delta[i] * total
        if not eliminate(w.small, w.right, n):
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
def probe(h: Hinges, ref: Reference, w: Work, plus: int, minus: int, row: Floats) -> float:
    """Put ``cᵀ J⁻¹`` of the settled network, c between two nodes, into ``row`` (N,); return the Thevenin ohms.

    ``w`` must hold the settled state with its chosen hinges.
    """
    size = len(w.volts)
    for node in range(size):
        row[node] = ref.inverse[plus, node] - ref.inverse[minus, node]
    n = w.size[1]
    if n > 0:
        couple(h, ref, w, n)
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
        eliminate(w.small, w.right, n)
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
    return float(row[plus] - row[minus])
