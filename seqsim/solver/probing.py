"""Readings of a settled network, from the factorised update that settling leaves behind.

A meter is one more port ``g (c·v - V)`` between two nodes. As long as it moves no hinge and no rule, the loaded
network is the settled one plus that port, so its volts follow from the column ``J⁻¹ c``; only where something moves
is the network settled anew.
"""

from __future__ import annotations

from seqsim.network import WIDTH
from seqsim.network.network import Floats
from seqsim.solver.arrays import Hinges, Reference, Rules, Work
from seqsim.solver.jit import compiled
from seqsim.solver.plain import NEARLY, TIE
from seqsim.solver.update import spread_out, substitute, substitute_transposed


@compiled
def aim(h: Hinges, ref: Reference, w: Work, plus: int, minus: int, row: Floats, column: Floats) -> float:
    """Put ``cᵀ J⁻¹`` and ``J⁻¹ c`` (N,), c between two nodes, into ``row`` and ``column``; return the Thevenin ohms."""
    size = len(row)
    for node in range(size):
        row[node] = ref.inverse[plus, node] - ref.inverse[minus, node]
        column[node] = ref.columns[plus, node] - ref.columns[minus, node]
    n = w.size[1]
    if n > 0:
        for i in range(n):
            k = w.chosen[i]
            sensed = 0.0
            for p in range(WIDTH):
                sensed += h.sense_weight[k, p] * column[h.sense_at[k, p]]
            w.right[i] = w.delta[i] * sensed
        substitute(w, n)
        spread_out(h, ref, w, column)
        for i in range(n):
            k = w.chosen[i]
            injected = 0.0
            for p in range(WIDTH):
                injected += h.inject_weight[k, p] * row[h.inject_at[k, p]]
            w.right[i] = injected
        substitute_transposed(w, n)
        w.nodal[:] = 0.0
        for i in range(n):
            k = w.chosen[i]
            for p in range(WIDTH):
                w.nodal[h.sense_at[k, p]] += h.sense_weight[k, p] * w.delta[i] * w.right[i]
        for at in range(size - 1):
            weight = w.nodal[at]
            if weight != 0.0:
                taken = ref.inverse[at]
                for node in range(size):
                    row[node] -= weight * taken[node]
    return float(row[plus] - row[minus])


@compiled
def unmoved(h: Hinges, rules: Rules, w: Work) -> bool:
    """Tell whether the volts in ``w`` leave every hinge and every rule row where it stands."""
    for k in range(w.size[0]):
        if h.clamped[k] and h.alive[k] and (h.gate[k] < 0 or w.gates[h.gate[k]]):
            x = -h.threshold[k]
            for p in range(WIDTH):
                x += h.sense_weight[k, p] * w.volts[h.sense_at[k, p]]
            if (w.conducting[k] and x < -NEARLY) or (not w.conducting[k] and x > NEARLY):
                return False
    for row in range(len(rules.kind)):
        if rules.side_force[row] >= 0:
            continue
        level = 0.0
        if w.above[row]:
            for p in range(WIDTH):
                level += rules.fall_weight[row, p] * w.volts[rules.fall_at[row, p]]
            if level <= rules.falling[row] - TIE:
                return False
        else:
            for p in range(WIDTH):
                level += rules.rise_weight[row, p] * w.volts[rules.rise_at[row, p]]
            if level > rules.rising[row] + TIE:
                return False
    return True
