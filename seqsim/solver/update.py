"""Linear solutions as updates of one factorisation.

With J = G + Σ g b aᵀ of a reference state, Z = J⁻¹ and v₀ its volts, a hinge that conducts ``γ (a·v - t)`` where the
reference has ``γᵣ (a·v - tᵣ)`` adds the current ``d = δ a·v - τ`` with ``δ = γ - γᵣ`` and ``τ = γ t - γᵣ tᵣ``. Only the
hinges S with δ or τ ≠ 0 matter: ``(I + δ M) d = δ (a·v₀) - τ`` with ``M = A_S Z B_S``, and ``v = v₀ - Z B_S d`` (the
matrix inversion lemma). The cost follows what a patch flips and not the size of the board.

Where a patch flips many hinges, the equations of the nodes themselves are quicker to solve than those of the hinges:
sparse ones, or with row exchanges where they need them.
"""

from __future__ import annotations

from seqsim.network import WIDTH
from seqsim.network.network import Floats, Ints
from seqsim.solver.arrays import Hinges, Ratios, Reference
from seqsim.solver.dense import factorise, substitute, substitute_transposed
from seqsim.solver.jit import compiled
from seqsim.solver.sparse import (
    factorise_sparse,
    structure,
    substitute_sparse,
    substitute_sparse_transposed,
)
from seqsim.solver.system import LEAK
from seqsim.solver.work import (
    CHOSEN,
    DENSE,
    HINGES,
    KNOWN,
    LIVE,
    SPARSE,
    STRUCTURE,
    TOO_LARGE,
    UNKNOWN,
    UPDATE,
    WHOLE,
    Work,
)  # fmt: skip

EPSILON = 2.2e-16
MOST_DOUBT = 1e-6
"""Share of a pivot that may be rounding; beyond it the equations of the nodes are solved instead."""
MOST_ASTRAY = 1e-6
"""Share of a test current that may be left over at a node."""


@compiled
def choose(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> None:
    """List the hinges that take part otherwise than in the reference, with δ and τ.

    ``w.active`` becomes the conductance with which each hinge takes part.
    """
    total = w.size[HINGES]
    for k in range(total):
        on = h.alive[k] and (h.gate[k] < 0 or w.gates[h.gate[k]]) and (not h.clamped[k] or w.conducting[k])
        w.active[k] = h.conductance[k] if on else 0.0
    for i in range(len(ratios.at)):
        w.active[ratios.at[i]] *= w.ratios[i]
    n = 0
    w.size[WHOLE] = UPDATE
    for k in range(total):
        here = w.active[k]
        there = ref.active[k] if k < len(ref.active) else 0.0
        if here != there:
            if n >= len(w.chosen):
                w.size[WHOLE] = SPARSE
                break
            w.chosen[n] = k
            w.delta[n] = here - there
            w.tau[n] = (here - there) * h.threshold[k]
            n += 1
    w.size[CHOSEN] = n


@compiled
def prepare(h: Hinges, ref: Reference, w: Work) -> float:
    """Factorise the equations of the chosen hinges, or of the nodes; return the sign of the Jacobian's determinant."""
    n = w.size[CHOSEN]
    if w.size[WHOLE] != UPDATE:
        return _prepare_whole(h, w)
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
    _doubts(h, ref, w)
    sign = ref.sign[0] * factorise(w.small, w.pivots, n)
    for i in range(n):
        other = w.pivots[i]
        w.doubt[i], w.doubt[other] = w.doubt[other], w.doubt[i]
        if w.doubt[i] > MOST_DOUBT * abs(w.small[i, i]):
            return _prepare_whole(h, w)
    return float(sign)


@compiled
def _doubts(h: Hinges, ref: Reference, w: Work) -> None:
    """Work out what rounding leaves of each ``δ a Z b``: all digits go if one hinge alone ties a node to the rest."""
    for i in range(w.size[CHOSEN]):
        k = w.chosen[i]
        total = 0.0
        for p in range(WIDTH):
            for q in range(WIDTH):
                weight = h.sense_weight[k, p] * h.inject_weight[k, q]
                if weight != 0.0:
                    total += abs(weight * ref.inverse[h.sense_at[k, p], h.inject_at[k, q]])
        w.doubt[i] = abs(w.delta[i]) * total * EPSILON


@compiled
def _prepare_whole(h: Hinges, w: Work) -> float:
    """Factorise the equations of the nodes; return the sign of the Jacobian's determinant."""
    total = w.size[HINGES]
    if w.size[STRUCTURE] == UNKNOWN:
        w.size[STRUCTURE] = KNOWN if structure(h, total, w.sparse) else TOO_LARGE
    if w.size[STRUCTURE] == KNOWN:
        sign = factorise_sparse(h, w.active, total, w.sparse)
        if sign != 0.0:
            w.size[WHOLE] = SPARSE
            return sign
    w.size[WHOLE] = DENSE
    live = w.size[LIVE]
    full = w.sparse.values
    for node in range(live):
        for other in range(live):
            full[node, other] = 0.0
        full[node, node] = LEAK
    for k in range(total):
        if w.active[k] != 0.0:
            for q in range(WIDTH):
                weight = h.inject_weight[k, q] * w.active[k]
                if weight != 0.0:
                    for p in range(WIDTH):
                        full[h.inject_at[k, q], h.sense_at[k, p]] += weight * h.sense_weight[k, p]
    return factorise(full, w.full_pivots, live)


@compiled
def _solve_whole(w: Work, right: Floats) -> None:
    """Solve the equations of the nodes in place; ground's entry becomes zero."""
    if w.size[WHOLE] == SPARSE:
        substitute_sparse(w.sparse, right)
    else:
        substitute(w.sparse.values, w.full_pivots, right, w.size[LIVE])
        right[w.size[LIVE] :] = 0.0


@compiled
def _solve_whole_transposed(w: Work, right: Floats) -> None:
    """Solve the transposed equations of the nodes in place; ground's entry becomes zero."""
    if w.size[WHOLE] == SPARSE:
        substitute_sparse_transposed(w.sparse, right)
    else:
        substitute_transposed(w.sparse.values, w.full_pivots, right, w.size[LIVE])
        right[w.size[LIVE] :] = 0.0


@compiled
def linear(h: Hinges, ref: Reference, ratios: Ratios, w: Work) -> float:
    """Put the volts of the held set of conducting hinges into ``w.volts``; return the determinant's sign."""
    choose(h, ref, ratios, w)
    sign = prepare(h, ref, w)
    if sign == 0.0:
        return 0.0
    n = w.size[CHOSEN]
    if w.size[WHOLE] != UPDATE:
        w.volts[:] = 0.0
        for k in range(w.size[HINGES]):
            current = w.active[k] * h.threshold[k]
            if current != 0.0:
                for q in range(WIDTH):
                    w.volts[h.inject_at[k, q]] += h.inject_weight[k, q] * current
        _solve_whole(w, w.volts)
        return sign
    w.volts[:] = ref.volts
    if n > 0:
        for i in range(n):
            row = w.chosen[i]
            total = 0.0
            for p in range(WIDTH):
                total += h.sense_weight[row, p] * ref.volts[h.sense_at[row, p]]
            w.right[i] = w.delta[i] * total - w.tau[i]
        substitute(w.small, w.pivots, w.right, n)
        _spread_out(h, ref, w, w.volts)
    return sign


@compiled
def _spread_out(h: Hinges, ref: Reference, w: Work, volts: Floats) -> None:
    """Take from ``volts`` what the currents ``right`` of the chosen hinges move: ``Z B_S right``."""
    w.nodal[:] = 0.0
    for i in range(w.size[CHOSEN]):
        row = w.chosen[i]
        for p in range(WIDTH):
            w.nodal[h.inject_at[row, p]] += h.inject_weight[row, p] * w.right[i]
    _add_rows(ref.columns, w.nodal, volts, w.size[LIVE])


@compiled
def _add_rows(rows: Floats, share: Floats, volts: Floats, live: int) -> None:
    """Take ``share`` of each row from ``volts``; ground is left out, and so are stubs that are not there."""
    for at in range(live):
        current = share[at]
        if current != 0.0:
            row = rows[at]
            for node in range(live):
                volts[node] -= row[node] * current


@compiled
def respond(h: Hinges, ref: Reference, w: Work, nodal: Floats, step: Floats) -> None:
    """Put ``-J⁻¹ nodal`` of the prepared state into ``step`` (N,)."""
    if w.size[WHOLE] != UPDATE:
        for node in range(len(step)):
            step[node] = -nodal[node]
        _solve_whole(w, step)
        return
    step[:] = 0.0
    _add_rows(ref.columns, nodal, step, w.size[LIVE])
    _correct(h, ref, w, step)


@compiled
def _correct(h: Hinges, ref: Reference, w: Work, step: Floats) -> None:
    """Turn a response ``Z x`` of the reference into the response ``J⁻¹ x`` of the prepared state."""
    n = w.size[CHOSEN]
    if n == 0:
        return
    for i in range(n):
        hinge = w.chosen[i]
        total = 0.0
        for p in range(WIDTH):
            total += h.sense_weight[hinge, p] * step[h.sense_at[hinge, p]]
        w.right[i] = w.delta[i] * total
    substitute(w.small, w.pivots, w.right, n)
    _spread_out(h, ref, w, step)


@compiled
def _add_currents(h: Hinges, w: Work, volts: Floats, sources: float) -> None:
    """Add the currents that leave each node at ``volts`` to ``w.left``; what it adds at ground is of no account.

    ``sources`` is the share of each hinge's threshold that counts: 1, or 0 for a response, which has no sources.
    """
    for node in range(len(volts)):
        w.left[node] += LEAK * volts[node]
    for k in range(w.size[HINGES]):
        g = w.active[k]
        if g != 0.0:
            x = -sources * h.threshold[k]
            for p in range(WIDTH):
                x += h.sense_weight[k, p] * volts[h.sense_at[k, p]]
            for q in range(WIDTH):
                w.left[h.inject_at[k, q]] += h.inject_weight[k, q] * g * x


@compiled
def refine(h: Hinges, ref: Reference, w: Work) -> None:
    """Correct the volts once by the currents that are left over.

    A node that a patch sets afloat has lost its digits in the difference of two large numbers; the leftover current
    has not.
    """
    size = len(w.volts)
    w.left[:] = 0.0
    _add_currents(h, w, w.volts, 1.0)
    w.left[size - 1] = 0.0
    respond(h, ref, w, w.left, w.step)
    for node in range(size):
        w.volts[node] += w.step[node]


@compiled
def rely(h: Hinges, ref: Reference, w: Work, plus: Ints, minus: Ints) -> None:
    """Make sure that what `aim` finds between nodes ``plus`` and ``minus`` (r,) keeps its digits.

    All pairs are tried at once, each with a current of its own: where some of it is left over, the equations of the
    nodes are solved instead. The state in ``w`` must be prepared, as settling leaves it.
    """
    if w.size[WHOLE] != UPDATE or w.size[CHOSEN] == 0:
        return
    size = len(w.left)
    w.left[:] = 0.0
    for r in range(len(plus)):
        current = 1.0 + 0.5 * r / len(plus)
        w.left[plus[r]] += current
        w.left[minus[r]] -= current
    w.left[size - 1] = 0.0
    respond(h, ref, w, w.left, w.step)
    _add_currents(h, w, w.step, 0.0)
    for node in range(size - 1):
        if abs(w.left[node]) > MOST_ASTRAY:
            _prepare_whole(h, w)
            return


@compiled
def aim(h: Hinges, ref: Reference, w: Work, plus: int, minus: int, column: Floats) -> float:
    """Put ``J⁻¹ c`` (N,), c between two nodes, into ``column``; return the Thevenin ohms; after `rely`."""
    if w.size[WHOLE] == UPDATE:
        for node in range(len(column)):
            column[node] = ref.columns[plus, node] - ref.columns[minus, node]
        _correct(h, ref, w, column)
    else:
        column[:] = 0.0
        column[plus] += 1.0
        column[minus] -= 1.0
        _solve_whole(w, column)
    return float(column[plus] - column[minus])


@compiled
def felt(h: Hinges, ref: Reference, w: Work, plus: int, minus: int, row: Floats) -> None:
    """Put ``cᵀ J⁻¹`` (N,), what a current at each node does to the volts between two, into ``row``; after `aim`."""
    if w.size[WHOLE] != UPDATE:
        row[:] = 0.0
        row[plus] += 1.0
        row[minus] -= 1.0
        _solve_whole_transposed(w, row)
        return
    for node in range(len(row)):
        row[node] = ref.inverse[plus, node] - ref.inverse[minus, node]
    n = w.size[CHOSEN]
    if n > 0:
        for i in range(n):
            hinge = w.chosen[i]
            total = 0.0
            for p in range(WIDTH):
                total += h.inject_weight[hinge, p] * row[h.inject_at[hinge, p]]
            w.right[i] = total
        substitute_transposed(w.small, w.pivots, w.right, n)
        w.nodal[:] = 0.0
        for i in range(n):
            hinge = w.chosen[i]
            for p in range(WIDTH):
                w.nodal[h.sense_at[hinge, p]] += h.sense_weight[hinge, p] * w.delta[i] * w.right[i]
        _add_rows(ref.inverse, w.nodal, row, w.size[LIVE])
