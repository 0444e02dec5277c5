"""Steady levels compiled: the same algorithm as `plain`, its linear solutions as updates of one factorisation.

Importing this module imports numba.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats
from seqsim.solver.arrays import FAILED, NEWTON, NO_LEVEL, OSCILLATES, STEADY, Hinges, Ratios, Reference, Rules
from seqsim.solver.jit import compiled
from seqsim.solver.kernel_fallback import fall_back
from seqsim.solver.plain import (
    NEARLY,
    NEWTON_STEPS,
    PATIENCE,
    RATIO_STEPS,
    RATIO_TOLERANCE,
    ROUGHLY,
    ROUNDS,
    SHORTEST_ROUND,
    TIE,
)
from seqsim.solver.update import choose, linear, prepare, refine
from seqsim.solver.work import BEGIN, END, HINGES, KEPT, NO_GUESS, STRUCTURE, TRAIL, UNKNOWN, Work

GUESSED_STEPS = 6
"""Newton steps from guessed modes before the modes of the state before are taken after all."""


@compiled
def _modes(h: Hinges, w: Work) -> bool:
    """Put the modes that the volts ask for into ``w.wanted``; tell whether they are those held."""
    total = w.size[HINGES]
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
        if path < 0 or not (h.alive[k] and w.conducting[k] and h.clamped[path]) or w.wanted[path]:
            continue
        if h.gate[path] < 0 or w.gates[h.gate[path]]:
            w.wanted[path] = True
            w.wanted[k] = False
    for k in range(total):
        other = h.instead_of[k]
        if other >= 0 and w.conducting[other]:
            w.wanted[k] = False
    return np.array_equal(w.wanted[:total], w.conducting[:total])


@compiled
def _newton(h: Hinges, ref: Reference, ratios: Ratios, w: Work, most: int) -> bool:
    total = w.size[HINGES]
    for k in range(total):
        if w.conducting[k] and (not h.clamped[k] or not h.alive[k] or (h.gate[k] >= 0 and not w.gates[h.gate[k]])):
            w.conducting[k] = False
    for step in range(most):
        if linear(h, ref, ratios, w) == 0.0:
            return False
        if _modes(h, w):
            return True
        name = np.uint64(0)
        for k in range(total):
            if w.wanted[k]:
                name ^= h.label[k]
        for earlier in range(step):
            if w.modes_seen[earlier] == name:
                return False
        w.modes_seen[step] = name
        for k in range(total):
            w.conducting[k] = w.wanted[k]
    return False


@compiled
def _analog(h: Hinges, ref: Reference, ratios: Ratios, w: Work, guess: int) -> int:
    """Volts and modes with gates and ratios held; the state before is the start, after a guess if there is one."""
    total = w.size[HINGES]
    start = w.conducting[:total].copy()
    if guess != NO_GUESS:
        for k in range(total):
            w.conducting[k] = w.trail_modes[guess, k]
        if _newton(h, ref, ratios, w, GUESSED_STEPS):
            return NEWTON
        for k in range(total):
            w.conducting[k] = start[k]
    if _newton(h, ref, ratios, w, NEWTON_STEPS):
        return NEWTON
    return fall_back(h, ref, ratios, w, start)


@compiled
def _settle_analog(
    h: Hinges, ref: Reference, ratios: Ratios, w: Work, tolerance: float, guess: int
) -> tuple[int, float]:
    """As `_analog`, with the input-current ratios converged; return the way, and how far they may still be off."""
    count = len(ratios.at)
    worst = NEWTON
    change = 0.0
    if count == 0:
        return _analog(h, ref, ratios, w, guess), change
    first = w.ratios.copy()
    second = w.ratios.copy()
    wanted = w.ratios.copy()
    for step in range(RATIO_STEPS):
        way = _analog(h, ref, ratios, w, guess if step == 0 else NO_GUESS)
        worst = max(worst, way)
        if way == FAILED:
            return FAILED, change
        change = 0.0
        for i in range(count):
            out, into = 0.0, 0.0
            for p in range(WIDTH):
                out += ratios.weights[i, 0, p] * w.volts[ratios.nodes[i, 0, p]]
                into += ratios.weights[i, 1, p] * w.volts[ratios.nodes[i, 1, p]]
            wanted[i] = min(max(out, 0.0) / (ratios.efficiency[i] * max(into, ratios.floor[i])), 1.0)
            change = max(change, abs(wanted[i] - w.ratios[i]))
        if change < tolerance:
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
    return worst, change


@compiled
def _wanted_bits(rules: Rules, k: int, above: Bools) -> int:
    """Return the bits of rule ``k`` for the sides of its rows."""
    pattern = 0
    for row in range(rules.row_start[k], rules.row_start[k + 1]):
        if above[row]:
            pattern |= 1 << (row - rules.row_start[k])
    return int(rules.table[rules.table_start[k] + pattern])


@compiled
def gates(rules: Rules, w: Work) -> None:
    """Put the gates that the sides of all rows ask for into ``w.gates``."""
    for g in range(len(rules.gates)):
        w.gates[g] = rules.gates[g]
    for k in range(len(rules.row_start) - 1):
        bits = _wanted_bits(rules, k, w.above)
        for i in range(rules.gate_start[k], rules.gate_start[k + 1]):
            w.gates[rules.driven[i]] = (bits >> (i - rules.gate_start[k])) & 1 == 1
    for g in range(len(rules.gates)):
        if rules.gate_force[g] >= 0:
            w.gates[g] = rules.gate_force[g] == 1


@compiled
def sides(rules: Rules, w: Work) -> int:
    """Put the sides that the volts ask for into ``w.fresh``; return how many differ."""
    changed = 0
    for row in range(len(rules.kind)):
        if rules.side_force[row] >= 0:
            w.fresh[row] = rules.side_force[row] == 1
        elif w.above[row]:
            total = 0.0
            for p in range(WIDTH):
                total += rules.fall_weight[row, p] * w.volts[rules.fall_at[row, p]]
            w.beyond[row] = rules.falling[row] - total
            w.fresh[row] = w.beyond[row] < TIE
        else:
            total = 0.0
            for p in range(WIDTH):
                total += rules.rise_weight[row, p] * w.volts[rules.rise_at[row, p]]
            w.beyond[row] = total - rules.rising[row]
            w.fresh[row] = w.beyond[row] > TIE
        if w.fresh[row] != w.above[row]:
            changed += 1
    return changed


@compiled
def settle(h: Hinges, ref: Reference, rules: Rules, ratios: Ratios, w: Work) -> tuple[int, int]:
    """Settle from the state in ``w``; return steadiness and the worst way that an analog solution took.

    Where ``w.size[KEPT]`` allows it, each round begins with the modes that the severity before had in that round at
    the same sides, and leaves its own.
    """
    rows = len(rules.kind)
    worst = NEWTON
    for row in range(rows):
        if rules.side_force[row] >= 0:
            w.above[row] = rules.side_force[row] == 1
    count = 0
    one_by_one = False
    together = -1  # the last round that changed several rows
    for step in range(ROUNDS):
        gates(rules, w)
        way, change = _settle_analog(h, ref, ratios, w, ROUGHLY, _guess(w, step))
        worst = max(worst, way)
        changed = sides(rules, w)
        if change >= RATIO_TOLERANCE and changed == 0 and way != FAILED:
            way, _ = _settle_analog(h, ref, ratios, w, RATIO_TOLERANCE, NO_GUESS)
            worst = max(worst, way)
            changed = sides(rules, w)
        _keep(w, step)
        if way == FAILED:
            return NO_LEVEL, worst
        if changed == 0:
            refine(h, ref, w)
            return STEADY, worst
        name = np.uint64(0)
        for k in range(w.size[HINGES]):
            if w.conducting[k]:
                name ^= h.label[k]
        repeats = -1
        for earlier in range(count):
            if w.names_seen[earlier] == name and np.array_equal(w.sides_seen[earlier], w.above):
                repeats = earlier
                break
        # a cycle in which one row changed at a time would be the same one by one
        if repeats >= 0 and (one_by_one or repeats > together):
            _average(rules, w, repeats, count)
            return OSCILLATES, worst
        if repeats >= 0 or step == PATIENCE:
            one_by_one = True
            count = 0
        if changed > 1:
            together = count
        w.names_seen[count] = name
        w.sides_seen[count] = w.above
        w.volts_seen[count] = w.volts
        count += 1
        if one_by_one:
            chosen = _fastest(rules, w)
            w.above[chosen] = w.fresh[chosen]
        else:
            for row in range(rows):
                w.above[row] = w.fresh[row]
    _average(rules, w, 0, count)
    return OSCILLATES, worst


@compiled
def _guess(w: Work, step: int) -> int:
    """Return the round of the severity before whose modes fit a round, or `NO_GUESS`."""
    if step < w.size[KEPT] and np.array_equal(w.trail_sides[step], w.above):
        return step
    return NO_GUESS


@compiled
def _keep(w: Work, step: int) -> None:
    """Keep the sides and modes of a round for the next severity."""
    if w.size[KEPT] != NO_GUESS and step < TRAIL:
        w.trail_sides[step] = w.above
        for k in range(w.size[HINGES]):
            w.trail_modes[step, k] = w.conducting[k]
        w.size[KEPT] = max(w.size[KEPT], step + 1)


@compiled
def _fastest(rules: Rules, w: Work) -> int:
    """Return the row of the fastest class that is to change, the one that is farthest beyond its threshold."""
    chosen = -1
    for row in range(len(rules.kind)):
        if w.fresh[row] != w.above[row] and (
            chosen < 0
            or rules.kind[row] < rules.kind[chosen]
            or (rules.kind[row] == rules.kind[chosen] and w.beyond[row] > w.beyond[chosen] + TIE)
        ):
            chosen = row
    return chosen


@compiled
def _length(rules: Rules, above: Bools, coming: Bools) -> float:
    """Return how long a round of a cycle lasts (s): as long as the gates wait that turn at its end."""
    total = SHORTEST_ROUND
    for k in range(len(rules.row_start) - 1):
        bits, wanted = _wanted_bits(rules, k, above), _wanted_bits(rules, k, coming)
        for i in range(rules.gate_start[k], rules.gate_start[k + 1]):
            place = i - rules.gate_start[k]
            gate = rules.driven[i]
            if ((bits ^ wanted) >> place) & 1 and rules.gate_force[gate] < 0:
                total += rules.paces[gate, 0 if (wanted >> place) & 1 else 1]
    return total


@compiled
def _average(rules: Rules, w: Work, first: int, end: int) -> None:
    """Put the average of the volts from round ``first`` to before ``end`` into ``w.volts``."""
    w.size[BEGIN], w.size[END] = first, end
    w.volts[:] = 0.0
    total = 0.0
    for k in range(first, end):
        length = _length(rules, w.sides_seen[k], w.sides_seen[k + 1 if k + 1 < end else first])
        total += length
        for node in range(len(w.volts)):
            w.volts[node] += length * w.volts_seen[k, node]
    for node in range(len(w.volts)):
        w.volts[node] /= total


class Settled(NamedTuple):
    """The state of a settled board: volts (N,), conducting (t,), above (r,), ratios (k,)."""

    volts: Floats
    conducting: Bools
    above: Bools
    ratios: Floats


@compiled
def note(w: Work, settled: Settled) -> None:
    """Copy the state in ``w`` into ``settled``."""
    settled.volts[:] = w.volts
    for k in range(w.size[HINGES]):
        settled.conducting[k] = w.conducting[k]
    settled.above[:] = w.above
    settled.ratios[:] = w.ratios


@compiled
def restore(
    h: Hinges, ref: Reference, ratios: Ratios, rules: Rules, w: Work, settled: Settled, total: int
) -> None:  # fmt: skip
    """Bring ``w`` back to a settled state, ready to be probed; ``total`` are the hinges without a meter."""
    w.size[HINGES] = total
    w.size[STRUCTURE] = UNKNOWN
    for k in range(total):
        w.conducting[k] = settled.conducting[k]
    w.above[:] = settled.above
    w.ratios[:] = settled.ratios
    w.volts[:] = settled.volts
    gates(rules, w)
    choose(h, ref, ratios, w)
    prepare(h, ref, w)
