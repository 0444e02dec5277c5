"""Linear equations compiled: factorised in place with row pivoting, solved for as many right sides as come."""

from __future__ import annotations

from seqsim.network.network import Floats, Ints
from seqsim.solver.jit import compiled


@compiled
def factorise(matrix: Floats, pivots: Ints, n: int) -> float:
    """Factorise the leading (n, n) of a matrix; return the sign of its determinant, 0 if it is singular."""
    sign = 1.0
    for k in range(n):
        pivot, best = k, abs(matrix[k, k])
        for i in range(k + 1, n):
            if abs(matrix[i, k]) > best:
                pivot, best = i, abs(matrix[i, k])
        if best < 1e-300:
            return 0.0
        pivots[k] = pivot
        if pivot != k:
            sign = -sign
            for j in range(n):
                matrix[k, j], matrix[pivot, j] = matrix[pivot, j], matrix[k, j]
        if matrix[k, k] < 0.0:
            sign = -sign
        inverse = 1.0 / matrix[k, k]
        top = matrix[k]
        for i in range(k + 1, n):
            factor = matrix[i, k] * inverse
            if factor != 0.0:
                row = matrix[i]
                row[k] = factor
                for j in range(k + 1, n):
                    row[j] -= factor * top[j]
    return sign


@compiled
def substitute(matrix: Floats, pivots: Ints, right: Floats, n: int) -> None:
    """Solve in place for a right side."""
    for k in range(n):
        pivot = pivots[k]
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
def substitute_transposed(matrix: Floats, pivots: Ints, right: Floats, n: int) -> None:
    """Solve the transposed equations in place for a right side."""
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
        pivot = pivots[k]
        if pivot != k:
            right[k], right[pivot] = right[pivot], right[k]
