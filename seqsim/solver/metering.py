"""What meters show on a settled board, and how that moves with what spreads."""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Floats, Ints
from seqsim.solver.arrays import NO_LEVEL, OSCILLATES, STEADY, Hinges, Ratios, Reference, Rules
from seqsim.solver.jit import compiled
from seqsim.solver.kernel import Settled, restore, settle
from seqsim.solver.pack import Latents, Probes, Solved
from seqsim.solver.probing import farthest, follow, same_reading, slack, unmoved
from seqsim.solver.update import aim, felt, rely
from seqsim.solver.work import BEGIN, END, HINGES, KEPT, NO_GUESS, STRUCTURE, UNKNOWN, Work

FEW = 4
"""Readings for which each may as well be looked at by itself, instead of what holds for all of them."""


@compiled
def _place_meter(h: Hinges, k: int, plus: int, minus: int, siemens: float, volts: float, most: float) -> int:
    """Put a meter behind all other hinges; return how many hinges there are now."""
    count = 2 if most < np.inf else 1
    for q in range(count):
        sign = 1.0 if q == 0 else -1.0
        for p in range(WIDTH):
            h.sense_at[k + q, p] = plus
            h.inject_at[k + q, p] = plus
            h.sense_weight[k + q, p] = 0.0
            h.inject_weight[k + q, p] = 0.0
        h.sense_at[k + q, 1] = minus
        h.inject_at[k + q, 1] = minus
        h.sense_weight[k + q, 0] = sign
        h.sense_weight[k + q, 1] = -sign
        h.inject_weight[k + q, 0] = 1.0
        h.inject_weight[k + q, 1] = -1.0
        h.conductance[k + q] = siemens
        h.threshold[k + q] = volts if q == 0 else most
        h.gate[k + q] = -1
        h.clamped[k + q] = q == 1
        h.after[k + q] = -1
        h.instead_of[k + q] = -1
        h.alive[k + q] = True
    return k + count


@compiled
def _moves(h: Hinges, w: Work, alias: Ints, latents: Latents, row: Floats, moves: Floats) -> None:
    """Put the change of a reading for one standard deviation of each latent into ``moves`` (l,)."""
    moves[:] = 0.0
    for e in range(len(latents.latent)):
        k = alias[latents.hinge[e]]
        g = w.active[k]
        if g == 0.0:
            continue
        x = -h.threshold[k]
        for p in range(WIDTH):
            x += h.sense_weight[k, p] * w.volts[h.sense_at[k, p]]
        felt = 0.0
        if latents.effect[e] == 2:
            for p in range(WIDTH):
                felt += latents.weight[e, p] * row[h.inject_at[k, p]]
            felt *= g * x
        else:
            for p in range(WIDTH):
                felt += h.inject_weight[k, p] * row[h.inject_at[k, p]]
            felt *= g * x if latents.effect[e] == 0 else -g
        moves[latents.latent[e]] -= felt * latents.coefficient[e]


@compiled
def _swing(work: Work, plus: int, minus: int) -> float:
    """Return by how much the volts between two nodes change in the cycle that was found last."""
    least, most = np.inf, -np.inf
    for k in range(work.size[BEGIN], work.size[END]):
        volts = work.volts_seen[k, plus] - work.volts_seen[k, minus]
        least, most = min(least, volts), max(most, volts)
    return most - least


@compiled
def take_readings(
    h: Hinges, ref: Reference, rules: Rules, ratios: Ratios, w: Work, probes: Probes, latents: Latents, alias: Ints,
    variant: int, item: int, settled: Settled, solved: Solved,
) -> None:  # fmt: skip
    """Put what each meter shows on the board that was settled last into row ``item`` of ``solved``.

    ``alias`` (h,) are the hinges that stand for those of the network; ``settled`` is the state in ``w``.
    """
    steadiness = solved.steadiness[item]
    if steadiness == OSCILLATES:
        for r in range(len(probes.siemens)):
            solved.swing[item, r] = _swing(w, probes.plus[variant, r], probes.minus[variant, r])
    if steadiness == NO_LEVEL or len(probes.siemens) == 0:
        return
    size, total = len(ref.volts), w.size[HINGES]
    sensitive = latents.size > 0
    row, column = np.zeros(size if sensitive else 0), w.ports.columns[0]
    latest = np.full(size, -1)
    rely(h, ref, w, probes.plus[variant], probes.minus[variant])
    room = slack(h, rules, w) if len(probes.siemens) > FEW else 0.0
    for r in range(len(probes.siemens)):
        plus, minus = probes.plus[variant, r], probes.minus[variant, r]
        if plus == minus:
            continue
        other = latest[plus]
        if other >= 0 and same_reading(probes, variant, other, r):
            solved.ohms[item, r], solved.read[item, r] = solved.ohms[item, other], solved.read[item, other]
            if sensitive:
                solved.moves[item, r] = solved.moves[item, other]
            continue
        latest[plus] = r
        siemens, volts, most = probes.siemens[r], probes.volts[r], probes.most[r]
        ohms = aim(h, ref, w, plus, minus, column)
        across = settled.volts[plus] - settled.volts[minus]
        share = 1.0 + siemens * ohms  # not above zero where the board pushes back: only settling tells
        tame = share > 0.0
        amps, limit = siemens * (across - volts) / share, siemens * (volts + most)
        if tame and amps < -limit:  # a test current at its limit depends on no volts
            amps, share = -limit, 1.0
        for node in range(size):
            w.volts[node] = settled.volts[node] - column[node] * amps
        still = siemens == 0.0 or (steadiness != STEADY and tame)
        if not still and tame:
            still = farthest(column) * abs(amps) < room or unmoved(h, rules, w)
        if still:
            read = across - ohms * amps
            if sensitive:
                felt(h, ref, w, plus, minus, row)
                for node in range(size):
                    row[node] /= share
                _moves(h, w, alias, latents, row, solved.moves[item, r])
        elif (
            tame and not sensitive
            and follow(h, ref, ratios, rules, w, settled.volts, plus, minus, siemens, volts, most)
        ):  # fmt: skip
            read = w.volts[plus] - w.volts[minus]
        else:
            w.volts[:] = settled.volts
            w.size[HINGES] = _place_meter(h, total, plus, minus, siemens, volts, most)
            w.size[STRUCTURE] = UNKNOWN
            for k in range(total, w.size[HINGES]):
                w.conducting[k] = k > total  # a test current is mostly in its limit
            rounds = w.size[KEPT]
            w.size[KEPT] = NO_GUESS
            settle(h, ref, rules, ratios, w)
            w.size[KEPT] = rounds
            read = w.volts[plus] - w.volts[minus]
            if sensitive:
                rely(h, ref, w, probes.plus[variant, r : r + 1], probes.minus[variant, r : r + 1])
                aim(h, ref, w, plus, minus, column)
                felt(h, ref, w, plus, minus, row)
                _moves(h, w, alias, latents, row, solved.moves[item, r])
            restore(h, ref, ratios, rules, w, settled, total)
            rely(h, ref, w, probes.plus[variant], probes.minus[variant])
        solved.ohms[item, r], solved.read[item, r] = ohms, read
