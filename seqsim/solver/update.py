"""Linear solutions as updates of one factorisation.

With J = G + Σ g b aᵀ of a reference state, Z = J⁻¹ and v₀ its volts, a hinge that conducts ``γ (a·v - t)`` where the
reference has ``γᵣ (a·v - tᵣ)`` adds the current ``d = δ a·v - τ`` with ``δ = γ - γᵣ`` and ``τ = γ t - γᵣ tᵣ``. Only the
hinges S with δ or τ ≠ 0 matter: ``(I + δ M) d = δ (a·v₀) - τ`` with ``M = A_S Z B_S``, and ``v = v₀ - Z B_S d`` (the
matrix inversion lemma). The cost follows what a patch flips and not the size of the board.
"""

from __future__ import annotations

from seqsim.network import WIDTH
from seqsim.network.network import Floats
from seqsim.solver.arrays import Hinges, Ratios, Reference, Work
from seqsim.solver.jit import compiled
from seqsim.solver.system import LEAK


@compiled
def factorise(w: Work, n: int) -> float:
    """Factorise ``small`` in place with row pivoting; return the sign of its determinant, 0 if it is singular."""
    matrix = w.small
    sign = 1.0
    for k in range(n):
        pivot, best = k, abs(matrix[k, k])
        for i in range(k + 1, n):
            if abs(matrix[i, k]) > best:
                pivot, best = i, abs(matrix[i, k])
        if best < 1e-300:
            return 0.0
        w.pivots[k] = pivot
        if pivot != k:
            sign = -sign
            for j in range(n):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
        if matrix[k, k] < 0.0:
            sign = -sign
        inverse = 1.0 / matrix[k, k]
        for i in range(k + 1, n):
            factor = matrix[i, k] * inverse
            matrix[i, k] = factor
            if factor != 0.0:
                for j in range(k + 1, n):
                    matrix[i, j] -= factor * matrix[k, j]
    return sign


@compiled
def substitute(w: Work, n: int) -> None:
    """Solve ``(I + δ M) x = right`` in place."""
    matrix, right = w.small, w.right
    for k in range(n):
        pivot = w.pivots[k]
        if pivot != k:
            right[k], right[pivot] = right[pivot], right[k]
    for i in range(n):
        total = right[i]
        for j in range(i):
            total -= matrix[i, j] * right[j]
        right[i] = total
    for i in range(n - 1, -1, -1):
        total = right[i]
        for j in range(i + 1, n):
            total -= matrix[i, j] * right[j]
        right[i] = total / matrix[i, i]


@compiled
def substitute_transposed(w: Work, n: int) -> None:
    """Solve ``(I + δ M)ᵀ x = right`` in place."""
    matrix, right = w.small, w.right
    for i in range(n):
        right[i] /= matrix[i, i]
        value = right[i]
        for j in range(i + 1, n):
            right[j] -= matrix[i, j] * value
    for i in range(n - 1, -1, -1):
        value = right[i]
        for j in range(i):
            right[j] -= matrix[i, j] * value
    for k in range(n - 1, -1, -1):
        pivot = w.pivots[k]
        if pivot != k:
            right[k], right[pivot] = right[pivot], right[k]


@compiled
def choose(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> int:
    """List the hinges that take part otherwise than in the reference, with δ and τ; return how many, -1 for too many.

    ``w.active`` becomes the conductance with which each hinge takes part.
    """
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
                w.size[1] = 0
                return -1
            w.chosen[n] = k
            w.delta[n] = here - there
            w.tau[n] = (here - there) * h.threshold[k]
            n += 1
    w.size[1] = n
    return n


@compiled
def couple(h: Hinges, ref: Reference, w: Work) -> float:
    """Fill ``small`` with I + δ M of the chosen hinges and factorise it; return the sign of its determinant."""
    n = w.size[1]
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
    return factorise(w, n)


@compiled
def spread_out(h: Hinges, ref: Reference, w: Work, volts: Floats) -> None:
    """Take from ``volts`` what the currents ``right`` of the chosen hinges move: ``Z B_S right``."""
    size = len(ref.volts)
    n = w.size[1]
    for node in range(size):
        w.nodal[node] = 0.0
    for i in range(n):
        row = w.chosen[i]
        for p in range(WIDTH):
            w.nodal[h.inject_at[row, p]] += h.inject_weight[row, p] * w.right[i]
    impose(ref, w.nodal, volts)


@compiled
def impose(ref: Reference, nodal: Floats, volts: Floats) -> None:
    """Take from ``volts`` what currents drawn from the nodes of the reference move: ``Z nodal``."""
    size = len(ref.volts)
    for other in range(size - 1):
        current = nodal[other]
        if current != 0.0:
            column = ref.columns[other]
            for node in range(size):
                volts[node] -= column[node] * current


@compiled
def linear(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> float:
    """Put the volts of the held set of conducting hinges into ``w.volts``; return the determinant's sign."""
    n = choose(h, ref, ratios, w)
    if n < 0:
        return 0.0
    sign = couple(h, ref, w)
    if sign == 0.0:
        return 0.0
    w.volts[:] = ref.volts
    if n == 0:
        return sign
    for i in range(n):
        row = w.chosen[i]
        total = 0.0
        for p in range(WIDTH):
            total += h.sense_weight[row, p] * ref.volts[h.sense_at[row, p]]
        w.right[i] = w.delta[i] * total - w.tau[i]
    substitute(w, n)
    spread_out(h, ref, w, w.volts)
    return sign


@compiled
def respond(h: Hinges, ref: Reference, w: Work, nodal: Floats, step: Floats) -> None:
    """Put ``-J⁻¹ nodal`` of the factorised state into ``step`` (N,); ``nodal`` is used up."""
    step[:] = 0.0
    impose(ref, nodal, step)
    n = w.size[1]
    if n == 0:
        return
    for i in range(n):
        hinge = w.chosen[i]
        total = 0.0
        for p in range(WIDTH):
            total += h.sense_weight[hinge, p] * step[h.sense_at[hinge, p]]
        w.right[i] = w.delta[i] * total
    substitute(w, n)
    spread_out(h, ref, w, step)


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
    respond(h, ref, w, w.nodal, w.step)
    for node in range(size):
        w.volts[node] += w.step[node]
