"""Readings of a settled network, from the factorised update that settling leaves behind.

A meter is one more port ``g (c·v - V)`` between two nodes. As long as it moves no hinge and no gate, the loaded
network is the settled one plus that port, so its volts follow from the column ``J⁻¹ c``; the few hinges that a test
voltage opens are further ports. Only where more moves is the network settled anew.
"""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Floats
from seqsim.solver.arrays import Hinges, Ratios, Reference, Rules
from seqsim.solver.dense import factorise, substitute
from seqsim.solver.jit import compiled
from seqsim.solver.kernel import gates, sides
from seqsim.solver.pack import Probes
from seqsim.solver.plain import NEARLY, TIE
from seqsim.solver.update import respond
from seqsim.solver.work import HINGES, MOST_MOVED, Ports, Work


@compiled
def unmoved(h: Hinges, rules: Rules, w: Work) -> bool:
    """Tell whether the volts in ``w`` leave every hinge and every gate where it stands."""
    for k in range(w.size[HINGES]):
        if _asks(h, w, k) != w.conducting[k]:
            return False
    return _gates_stay(rules, w)


@compiled
def _asks(h: Hinges, w: Work, k: int) -> bool:
    """Tell whether the volts in ``w`` ask a hinge to conduct; one that has no say stays as it is."""
    if not h.clamped[k] or not h.alive[k] or (h.gate[k] >= 0 and not w.gates[h.gate[k]]):
        return bool(w.conducting[k])
    x = -h.threshold[k]
    for p in range(WIDTH):
        x += h.sense_weight[k, p] * w.volts[h.sense_at[k, p]]
    return bool(x >= -NEARLY if w.conducting[k] else x > NEARLY)


@compiled
def _gates_stay(rules: Rules, w: Work) -> bool:
    """Tell whether every gate stays, though the volts in ``w`` may move rule rows: a chip without power drives none."""
    if sides(rules, w) == 0:
        return True
    above, before = w.above.copy(), w.gates.copy()
    w.above[:] = w.fresh
    gates(rules, w)
    same = np.array_equal(before, w.gates)
    w.above[:], w.gates[:] = above, before
    return same


@compiled
def follow(
    h: Hinges, ref: Reference, ratios: Ratios, rules: Rules, w: Work, settled: Floats,
    plus: int, minus: int, siemens: float, volts: float, most: float,
) -> bool:  # fmt: skip
    """Put the volts of a board under a meter that moves a few hinges into ``w.volts``; tell whether that was possible.

    The meter and each hinge that it moves are ports on the settled network (the matrix inversion lemma once more), so
    that the equations prepared for it serve. Begins with the meter's column in ``w.ports.columns[0]``, and in
    ``w.volts`` what moves the first hinge. Where many hinges move, or one on which others depend, or a gate, only
    settling tells.
    """
    ports = w.ports
    count, found = 0, False
    for _ in range(MOST_MOVED):
        stays, possible = True, True
        for k in range(w.size[HINGES]):
            if _asks(h, w, k) == w.conducting[k]:
                continue
            stays = False
            if not _is_moved(ports, count, k):
                possible = count < MOST_MOVED and _alone(h, ratios, w, k)
                if not possible:
                    break
                ports.moved[count], ports.was[count] = k, w.conducting[k]
                count += 1
                _respond_to(h, ref, w, k, ports.columns[count])
            w.conducting[k] = not w.conducting[k]
        if stays:
            found = _gates_stay(rules, w)
        if stays or not possible:
            break
        _solve_ports(h, w, count, settled, plus, minus, siemens, volts, most)
    for i in range(count):
        w.conducting[ports.moved[i]] = ports.was[i]
    return found


@compiled
def _is_moved(ports: Ports, count: int, k: int) -> bool:
    for i in range(count):  # noqa: SIM110 - compiled
        if ports.moved[i] == k:
            return True
    return False


@compiled
def _alone(h: Hinges, ratios: Ratios, w: Work, k: int) -> bool:
    """Tell whether a hinge moves by itself: none depends on it, and it on none and on no ratio."""
    if h.after[k] >= 0 or h.instead_of[k] >= 0:
        return False
    for other in range(w.size[HINGES]):
        if h.after[other] == k or h.instead_of[other] == k:
            return False
    return not (ratios.at == k).any()


@compiled
def _respond_to(h: Hinges, ref: Reference, w: Work, k: int, column: Floats) -> None:
    """Put ``J⁻¹ b`` (N,) of a hinge into ``column``."""
    w.left[:] = 0.0
    for q in range(WIDTH):
        w.left[h.inject_at[k, q]] -= h.inject_weight[k, q]
    w.left[len(w.left) - 1] = 0.0
    respond(h, ref, w, w.left, column)


@compiled
def _across(h: Hinges, k: int, volts: Floats) -> float:
    total = 0.0
    for p in range(WIDTH):
        total += h.sense_weight[k, p] * volts[h.sense_at[k, p]]
    return total


@compiled
def _solve_ports(
    h: Hinges, w: Work, count: int, settled: Floats, plus: int, minus: int, siemens: float, volts: float, most: float
) -> None:
    """Put the volts with the meter, and ``count`` hinges as they are now, into ``w.volts``.

    The first port is the meter; at its limit it takes a current that depends on no volts.
    """
    ports = w.ports
    limit = siemens * (volts + most)
    for limited in (False, True):
        for i in range(count + 1):
            if i == 0:
                delta, tau = (0.0, limit) if limited else (siemens, siemens * volts)
                across = settled[plus] - settled[minus]
            else:
                k = ports.moved[i - 1]
                delta = 0.0 if w.conducting[k] == ports.was[i - 1] else h.conductance[k]
                delta = -delta if ports.was[i - 1] else delta
                tau = delta * h.threshold[k]
                across = _across(h, k, settled)
            ports.right[i] = delta * across - tau
            for j in range(count + 1):
                column = ports.columns[j]
                moves = column[plus] - column[minus] if i == 0 else _across(h, ports.moved[i - 1], column)
                ports.matrix[i, j] = delta * moves
            ports.matrix[i, i] += 1.0
        factorise(ports.matrix, ports.pivots, count + 1)
        substitute(ports.matrix, ports.pivots, ports.right, count + 1)
        if ports.right[0] >= -limit:
            break
    for node in range(len(settled)):
        total = settled[node]
        for j in range(count + 1):
            total -= ports.columns[j, node] * ports.right[j]
        w.volts[node] = total


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
def same_reading(probes: Probes, variant: int, one: int, other: int) -> bool:
    """Tell whether two readings of a variant with the same first node are the same reading."""
    return bool(
        probes.minus[variant, one] == probes.minus[variant, other]
        and probes.siemens[one] == probes.siemens[other]
        and probes.volts[one] == probes.volts[other]
        and probes.most[one] == probes.most[other]
    )
