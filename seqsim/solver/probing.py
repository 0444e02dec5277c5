"""Readings of a settled network, from the factorised update that settling leaves behind.

A meter is one more port ``g (c·v - V)`` between two nodes. As long as it moves no hinge and no rule, the loaded
network is the settled one plus that port, so its volts follow from the column ``J⁻¹ c``; only where something moves
is the network settled anew.
"""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Floats
from seqsim.solver.arrays import Hinges, Rules
from seqsim.solver.jit import compiled
from seqsim.solver.pack import Probes
from seqsim.solver.plain import NEARLY, TIE
from seqsim.solver.work import HINGES, Work


@compiled
def unmoved(h: Hinges, rules: Rules, w: Work) -> bool:
    """Tell whether the volts in ``w`` leave every hinge and every rule row where it stands."""
    for k in range(w.size[HINGES]):
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


@compiled
def slack(h: Hinges, rules: Rules, w: Work) -> float:
    """Return by how many volts all nodes may move, each as it likes, and leave every hinge and row where it stands."""
    least = np.inf
    for k in range(w.size[HINGES]):
        if h.clamped[k] and h.alive[k] and (h.gate[k] < 0 or w.gates[h.gate[k]]):
            x, felt = -h.threshold[k], 0.0
            for p in range(WIDTH):
                x += h.sense_weight[k, p] * w.volts[h.sense_at[k, p]]
                felt += abs(h.sense_weight[k, p])
            if felt > 0.0:
                least = min(least, ((x if w.conducting[k] else -x) + NEARLY) / felt)
    for row in range(len(rules.kind)):
        if rules.side_force[row] >= 0:
            continue
        margin, felt = TIE, 0.0
        for p in range(WIDTH):
            if w.above[row]:
                margin += rules.fall_weight[row, p] * w.volts[rules.fall_at[row, p]]
                felt += abs(rules.fall_weight[row, p])
            else:
                margin -= rules.rise_weight[row, p] * w.volts[rules.rise_at[row, p]]
                felt += abs(rules.rise_weight[row, p])
        margin += -rules.falling[row] if w.above[row] else rules.rising[row]
        if felt > 0.0:
            least = min(least, margin / felt)
    return least


@compiled
def farthest(column: Floats) -> float:
    """Return how far the node moves that moves most."""
    most = 0.0
    for each in column:
        most = max(most, abs(each))
    return most


@compiled
def same_meter(probes: Probes, variant: int, one: int, other: int) -> bool:
    """Tell whether two readings of a variant with the same first node are the same reading."""
    return bool(
        probes.minus[variant, one] == probes.minus[variant, other]
        and probes.siemens[one] == probes.siemens[other]
        and probes.volts[one] == probes.volts[other]
        and probes.most[one] == probes.most[other]
    )
