"""The equations of the nodes themselves, factorised along a fixed order of elimination.

Which entries can be other than zero is worked out once for a variant, on bits; numbers are then kept for those
alone. Pivots are those on the diagonal: where one is far too small, the caller solves with row exchanges instead.

Rows are factorised one after the other, each from the rows before it that it couples to. So after a few hinges have
flipped, only the rows at which they inject are made anew, and those above them in the elimination tree.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.arrays import Hinges
from seqsim.solver.jit import compiled
from seqsim.solver.system import LEAK

GROWTH = 1e7
"""Siemens: larger entries than this, born of a small pivot, would drown those of a floating node."""
ROOM = 64
"""Couplings a node, fill-ins included, that there is room for on average."""


class Sparse(NamedTuple):
    """A matrix over the nodes without ground and its factors, in the order of elimination.

    Row ``k`` of the upper and column ``k`` of the lower triangle have their entries at ``start[k]:start[k + 1]`` of
    ``coupled``, ``upper`` and ``lower``, and those of the matrix itself lie there in ``own_upper`` and ``own_lower``.
    Row ``k`` of the lower triangle lists its columns and their entries at ``row_start[k]:row_start[k + 1]`` of
    ``row_column`` and ``row_entry``. ``place`` (N,) is each node's place in the order, that of ground beyond the end;
    ``injecting`` lists the hinges that inject at each place, from ``first_injecting`` on. ``stale`` rows of the matrix
    have to be made anew, ``changed`` ones factorised. ``values`` is where a full matrix is worked on.
    """

    place: Ints
    bits: NDArray[np.uint64]
    start: Ints
    coupled: Ints
    upper: Floats
    lower: Floats
    pivot: Floats
    largest: Floats
    own_upper: Floats
    own_lower: Floats
    own_pivot: Floats
    row_start: Ints
    row_column: Ints
    row_entry: Ints
    first_injecting: Ints
    injecting: Ints
    counted: Floats
    """conductance with which each hinge is in the matrix"""
    stale: Bools
    changed: Bools
    row: Floats
    values: Floats
    load: Floats


def sparse(place: Ints, hinges: int) -> Sparse:
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
        largest=np.zeros(n),
        own_upper=np.zeros(room),
        own_lower=np.zeros(room),
        own_pivot=np.zeros(n),
        row_start=np.zeros(n + 2, dtype=np.int64),
        row_column=np.zeros(room, dtype=np.int64),
        row_entry=np.zeros(room, dtype=np.int64),
        first_injecting=np.zeros(n + 2, dtype=np.int64),
        injecting=np.zeros(hinges * WIDTH, dtype=np.int64),
        counted=np.zeros(hinges),
        stale=np.zeros(n, dtype=np.bool_),
        changed=np.zeros(n, dtype=np.bool_),
        row=np.zeros(n + 1),
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
    _lower_rows(s)
    _list_injecting(h, total, s)
    return True


@compiled
def _lower_rows(s: Sparse) -> None:
    """List the entries of each row of the lower triangle, in the order of their columns."""
    n = len(s.pivot)
    s.row_start[:] = 0
    for i in range(s.start[n]):
        s.row_start[s.coupled[i] + 2] += 1
    for k in range(n):
        s.row_start[k + 2] += s.row_start[k + 1]
    for k in range(n):
        for i in range(s.start[k], s.start[k + 1]):
            at = s.row_start[s.coupled[i] + 1]
            s.row_column[at] = k
            s.row_entry[at] = i
            s.row_start[s.coupled[i] + 1] += 1


@compiled
def _list_injecting(h: Hinges, total: int, s: Sparse) -> None:
    """List the hinges that inject at each place; every row has to be made anew."""
    n = len(s.pivot)
    s.first_injecting[:] = 0
    for k in range(total):
        if h.alive[k]:
            for q in range(WIDTH):
                row = s.place[h.inject_at[k, q]]
                if row < n and h.inject_weight[k, q] != 0.0:
                    s.first_injecting[row + 2] += 1
    for k in range(n):
        s.first_injecting[k + 2] += s.first_injecting[k + 1]
    for k in range(total):
        s.counted[k] = 0.0
        if h.alive[k]:
            for q in range(WIDTH):
                row = s.place[h.inject_at[k, q]]
                if row < n and h.inject_weight[k, q] != 0.0:
                    s.injecting[s.first_injecting[row + 1]] = k
                    s.first_injecting[row + 1] += 1
    s.stale[:] = True


@compiled
def factorise_sparse(h: Hinges, active: Floats, total: int, s: Sparse) -> float:
    """Factorise the Jacobian, whose structure is known; return the sign of its determinant, 0 where a pivot is small.

    Rows that no change reaches keep the factors that they had.
    """
    n = len(s.pivot)
    for k in range(total):
        if active[k] != s.counted[k]:
            s.counted[k] = active[k]
            for q in range(WIDTH):
                row = s.place[h.inject_at[k, q]]
                if row < n and h.inject_weight[k, q] != 0.0:
                    s.stale[row] = True
    _own_rows(h, s)
    sign = 1.0
    row = s.row
    for k in range(n):
        if s.changed[k]:
            first, end = s.start[k], s.start[k + 1]
            for i in range(first, end):
                row[s.coupled[i]] = s.own_upper[i]
            row[k] = s.own_pivot[k]
            for i in range(s.row_start[k], s.row_start[k + 1]):
                row[s.row_column[i]] = s.own_lower[s.row_entry[i]]
            for i in range(s.row_start[k], s.row_start[k + 1]):
                other = s.row_column[i]
                factor = row[other] / s.pivot[other]
                s.lower[s.row_entry[i]] = factor
                if factor != 0.0:
                    if abs(factor) * s.largest[other] > GROWTH:
                        s.changed[:] = True
                        return 0.0
                    for j in range(s.start[other], s.start[other + 1]):
                        row[s.coupled[j]] -= factor * s.upper[j]
            if row[k] == 0.0:
                s.changed[:] = True
                return 0.0
            s.pivot[k] = row[k]
            largest = 0.0
            for i in range(first, end):
                s.upper[i] = row[s.coupled[i]]
                largest = max(largest, abs(s.upper[i]))
            s.largest[k] = largest
            s.changed[k] = False
            if first < end:
                s.changed[s.coupled[first]] = True
        if s.pivot[k] < 0.0:
            sign = -sign
    return sign


@compiled
def _own_rows(h: Hinges, s: Sparse) -> None:
    """Make the stale rows of the matrix from the hinges that inject there."""
    row = s.row
    for k in range(len(s.pivot)):
        if not s.stale[k]:
            continue
        s.stale[k] = False
        s.changed[k] = True
        first, end = s.start[k], s.start[k + 1]
        for i in range(first, end):
            row[s.coupled[i]] = 0.0
        for i in range(s.row_start[k], s.row_start[k + 1]):
            row[s.row_column[i]] = 0.0
        row[k] = LEAK
        for i in range(s.first_injecting[k], s.first_injecting[k + 1]):
            hinge = s.injecting[i]
            g = s.counted[hinge]
            # a hinge that injects here twice is listed twice
            if g != 0.0 and (i == s.first_injecting[k] or s.injecting[i - 1] != hinge):
                for q in range(WIDTH):
                    if s.place[h.inject_at[hinge, q]] == k:
                        weight = h.inject_weight[hinge, q] * g
                        for p in range(WIDTH):
                            row[s.place[h.sense_at[hinge, p]]] += weight * h.sense_weight[hinge, p]
        for i in range(first, end):
            s.own_upper[i] = row[s.coupled[i]]
        for i in range(s.row_start[k], s.row_start[k + 1]):
            s.own_lower[s.row_entry[i]] = row[s.row_column[i]]
        s.own_pivot[k] = row[k]


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
