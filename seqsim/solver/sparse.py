"""The equations of the nodes themselves, factorised along a fixed order of elimination.

Which entries can be other than zero is worked out once for a variant, on bits; numbers are then kept for those
alone. Pivots are those on the diagonal: where one is far too small, the caller solves with row exchanges instead.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH
from seqsim.network.network import Floats, Ints
from seqsim.solver.arrays import Hinges
from seqsim.solver.jit import compiled
from seqsim.solver.system import LEAK

GROWTH = 1e7
"""Siemens: larger entries than this, born of a small pivot, would drown those of a floating node."""
ROOM = 64
"""Couplings a node, fill-ins included, that there is room for on average."""


class Sparse(NamedTuple):
    """A factorised matrix over the nodes without ground, in the order of elimination.

    Row ``k`` of the upper and column ``k`` of the lower triangle have their entries at ``start[k]:start[k + 1]`` of
    ``coupled``, ``upper`` and ``lower``. ``place`` (N,) is each node's place in the order, that of ground beyond the
    end; ``values`` is where numbers are worked on.
    """

    place: Ints
    bits: NDArray[np.uint64]
    start: Ints
    coupled: Ints
    upper: Floats
    lower: Floats
    pivot: Floats
    values: Floats
    load: Floats


def sparse(place: Ints) -> Sparse:
    """Return room for a matrix over nodes that are eliminated in the places given, ground's last."""
    n = len(place) - 1
    room = min(n * (n - 1) // 2, ROOM * n)
    return Sparse(
        place=place,
        bits=np.zeros((n, (n + 63) // 64), dtype=np.uint64),
        start=np.zeros(n + 1, dtype=np.int64),
        coupled=np.zeros(room, dtype=np.int64),
        upper=np.zeros(room),
        lower=np.zeros(room),
        pivot=np.zeros(n),
        values=np.zeros((n + 1, n + 1)),
        load=np.zeros(n + 1),
    )


@compiled
def structure(h: Hinges, total: int, s: Sparse) -> bool:
    """Work out which entries can be other than zero, whatever conducts; tell whether there is room for them."""
    n = len(s.pivot)
    one = np.uint64(1)
    s.bits[:, :] = np.uint64(0)
    for k in range(total):
        if h.alive[k]:
            for q in range(WIDTH):
                row = s.place[h.inject_at[k, q]]
                if row < n and h.inject_weight[k, q] != 0.0:
                    for p in range(WIDTH):
                        column = s.place[h.sense_at[k, p]]
                        if column < n and h.sense_weight[k, p] != 0.0:
                            s.bits[row, column >> 6] |= one << np.uint64(column & 63)
                            s.bits[column, row >> 6] |= one << np.uint64(row & 63)
    count = 0
    for k in range(n):
        s.start[k] = count
        first = (k + 1) >> 6
        for word in range(first, s.bits.shape[1]):
            left = s.bits[k, word]
            if word == first:
                left &= ~((one << np.uint64((k + 1) & 63)) - one)
            column = word << 6
            while left != np.uint64(0):
                if left & one:
                    if count == len(s.coupled):
                        return False
                    s.coupled[count] = column
                    count += 1
                left >>= one
                column += 1
        for i in range(s.start[k], count):
            other = s.coupled[i]
            for word in range(first, s.bits.shape[1]):
                s.bits[other, word] |= s.bits[k, word]
    s.start[n] = count
    return True


@compiled
def factorise_sparse(h: Hinges, active: Floats, total: int, s: Sparse) -> float:
    """Factorise the Jacobian; return the sign of its determinant, 0 where a pivot is too small."""
    n = len(s.pivot)
    values = s.values
    for k in range(n):
        values[k, k] = LEAK
        for i in range(s.start[k], s.start[k + 1]):
            other = s.coupled[i]
            values[k, other] = 0.0
            values[other, k] = 0.0
    for k in range(total):
        if active[k] != 0.0:
            for q in range(WIDTH):
                weight = h.inject_weight[k, q] * active[k]
                if weight != 0.0:
                    row = values[s.place[h.inject_at[k, q]]]
                    for p in range(WIDTH):
                        row[s.place[h.sense_at[k, p]]] += weight * h.sense_weight[k, p]
    sign = 1.0
    for k in range(n):
        pivot = values[k, k]
        if pivot == 0.0:
            return 0.0
        if pivot < 0.0:
            sign = -sign
        s.pivot[k] = pivot
        first, end = s.start[k], s.start[k + 1]
        largest = 0.0
        for i in range(first, end):
            s.upper[i] = values[k, s.coupled[i]]
            largest = max(largest, abs(s.upper[i]))
        for i in range(first, end):
            row = values[s.coupled[i]]
            factor = row[k] / pivot
            s.lower[i] = factor
            if factor != 0.0:
                if abs(factor) * largest > GROWTH:
                    return 0.0
                for j in range(first, end):
                    row[s.coupled[j]] -= factor * s.upper[j]
    return sign


@compiled
def substitute_sparse(s: Sparse, right: Floats) -> None:
    """Solve in place for a right side (N,) over nodes; ground's becomes zero."""
    n = len(s.pivot)
    load = s.load
    for node in range(n + 1):
        load[s.place[node]] = right[node]
    for k in range(n):
        value = load[k]
        if value != 0.0:
            for i in range(s.start[k], s.start[k + 1]):
                load[s.coupled[i]] -= s.lower[i] * value
    for k in range(n - 1, -1, -1):
        total = load[k]
        for i in range(s.start[k], s.start[k + 1]):
            total -= s.upper[i] * load[s.coupled[i]]
        load[k] = total / s.pivot[k]
    load[n] = 0.0
    for node in range(n + 1):
        right[node] = load[s.place[node]]


@compiled
def substitute_sparse_transposed(s: Sparse, right: Floats) -> None:
    """Solve the transposed equations in place for a right side (N,) over nodes; ground's becomes zero."""
    n = len(s.pivot)
    load = s.load
    for node in range(n + 1):
        load[s.place[node]] = right[node]
    for k in range(n):
        value = load[k] / s.pivot[k]
        load[k] = value
        if value != 0.0:
            for i in range(s.start[k], s.start[k + 1]):
                load[s.coupled[i]] -= s.upper[i] * value
    for k in range(n - 1, -1, -1):
        total = load[k]
        for i in range(s.start[k], s.start[k + 1]):
            total -= s.lower[i] * load[s.coupled[i]]
        load[k] = total
    load[n] = 0.0
    for node in range(n + 1):
        right[node] = load[s.place[node]]
