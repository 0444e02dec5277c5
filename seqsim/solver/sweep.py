"""The compiled loop over variants and severities: settle each, then take its readings."""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.arrays import NO_LEVEL, OSCILLATES, STEADY, Hinges, Ratios, Reference, Rules
from seqsim.solver.jit import compiled
from seqsim.solver.kernel import restore, settle
from seqsim.solver.pack import STUBS, Latents, Pack, Probes, Solved
from seqsim.solver.probing import farthest, follow, same_meter, slack, unmoved
from seqsim.solver.update import aim, felt, rely
from seqsim.solver.work import BEGIN, END, HINGES, KEPT, LIVE, NO_GUESS, STRUCTURE, UNKNOWN, Work

FEW = 4
"""Readings for which each may as well be looked at by itself, instead of what holds for all of them."""


@compiled
def _place_ports(h: Hinges, pack: Pack, variant: int, severity: int, base: int) -> int:
    """Copy the ports of a variant behind the network's hinges; return how many hinges there are now."""
    start = pack.port_start[variant]
    count = pack.port_start[variant + 1] - start
    wide = pack.wide_start[variant] + severity * count
    for q in range(count):
        k = base + q
        for p in range(WIDTH):
            h.sense_at[k, p] = pack.sense_at[start + q, p]
            h.sense_weight[k, p] = pack.sense_weight[start + q, p]
            h.inject_at[k, p] = pack.inject_at[start + q, p]
            h.inject_weight[k, p] = pack.inject_weight[wide + q, p]
        h.conductance[k] = pack.conductance[wide + q]
        h.threshold[k] = pack.threshold[wide + q]
        h.gate[k] = pack.gate[start + q]
        h.clamped[k] = pack.clamped[start + q]
        h.after[k] = pack.after[start + q]
        h.instead_of[k] = pack.instead_of[start + q]
        h.alive[k] = True
    for i in range(pack.replaced_start[variant], pack.replaced_start[variant + 1]):
        h.alive[pack.replaced[i]] = False
    return int(base + count)


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
def sweep(
    h: Hinges, ref: Reference, base_ratios: Ratios, static: Bools, table: Ints, table_start: Ints, gate_start: Ints,
    driven: Ints, paces: Floats, kind: Ints, row_start: Ints, pack: Pack, severity: Ints, origin: Ints, first: Bools,
    first_above: Bools, first_ratios: Floats, probes: Probes, latents: Latents, solved: Solved, work: Work,
    begin: int, end: int, item: int,
) -> None:  # fmt: skip
    """Settle some variants of ``pack`` (or one ``severity`` of each, where it is not -1) and fill ``solved``.

    They are those from ``begin`` to before ``end``, and their first place in ``solved`` is ``item``.

    Each item starts from the row ``origin`` (i,), negative where that is its settled state already, of ``first``,
    ``first_above`` and ``first_ratios``, numbered as its hinges are; row 0 is the reference's own state, whose hinges a
    port takes over from those that it stands for.
    """
    size = len(ref.volts)
    base = len(ref.active)
    keeping = len(solved.volts) > 0
    sensitive = latents.size > 0
    width = len(h.gate)
    rows = len(kind)
    row, column = np.zeros(size), work.ports.columns[0]
    alias = np.arange(base)
    kept = np.zeros(width, dtype=np.bool_)
    kept_above = np.zeros(rows, dtype=np.bool_)
    kept_ratios = np.zeros(len(base_ratios.at))
    settled_volts = np.zeros(size)
    latest = np.zeros(size, dtype=np.int64)
    for v in range(begin, end):
        low, high = 0, pack.severities[v]
        if severity[v] >= 0:
            low, high = severity[v], severity[v] + 1
        ratios = Ratios(
            pack.ratio_at[v], pack.ratio_nodes[v], base_ratios.weights, base_ratios.efficiency, base_ratios.floor
        )
        rows_at = pack.row_set[v]
        work.size[LIVE] = size - 1 - STUBS + pack.stubs[v]
        for i in range(pack.port_start[v], pack.port_start[v + 1]):
            if pack.port_of[i] >= 0:
                alias[pack.port_of[i]] = base + i - pack.port_start[v]
        work.size[KEPT] = 0
        for s in range(low, high):
            total = _place_ports(h, pack, v, s, base)
            at = min(s, pack.rising.shape[1] - 1)
            rules = Rules(
                pack.rise_at[rows_at], pack.rise_weight, pack.rising[rows_at, at], pack.fall_at[rows_at],
                pack.fall_weight, pack.falling[rows_at, at], kind, row_start, table_start, table, gate_start, driven,
                paces, static, pack.gate_force[v], pack.side_force[v],
            )  # fmt: skip
            work.size[HINGES] = total
            work.size[STRUCTURE] = UNKNOWN
            start = abs(origin[item])
            work.size[KEPT] = NO_GUESS if origin[item] < 0 else max(work.size[KEPT], 0)
            for k in range(total):
                work.conducting[k] = first[start, k]
            if start == 0:
                for k in range(base, total):
                    other = pack.port_of[pack.port_start[v] + k - base]
                    work.conducting[k] = other >= 0 and first[0, other]
            work.above[:] = first_above[start]
            work.ratios[:] = first_ratios[start]
            steadiness, way = settle(h, ref, rules, ratios, work)
            solved.steadiness[item] = steadiness
            solved.way[item] = way
            for node in range(size):
                settled_volts[node] = work.volts[node]
            if keeping:
                solved.volts[item] = settled_volts
            for k in range(total):
                solved.conducting[item, k] = work.conducting[k]
                kept[k] = work.conducting[k]
            solved.above[item] = work.above
            solved.ratios[item] = work.ratios
            kept_above[:] = work.above
            kept_ratios[:] = work.ratios
            if steadiness == OSCILLATES:
                for r in range(len(probes.siemens)):
                    solved.swing[item, r] = _swing(work, probes.plus[v, r], probes.minus[v, r])
            readings = len(probes.siemens) if steadiness != NO_LEVEL else 0
            for r in range(readings):
                latest[probes.plus[v, r]] = -1
            if readings > 0:
                rely(h, ref, work, probes.plus[v], probes.minus[v])
            room = slack(h, rules, work) if readings > FEW else 0.0
            for r in range(readings):
                plus, minus = probes.plus[v, r], probes.minus[v, r]
                if plus == minus:
                    continue
                other = latest[plus]
                if other >= 0 and same_meter(probes, v, other, r):
                    solved.ohms[item, r] = solved.ohms[item, other]
                    solved.read[item, r] = solved.read[item, other]
                    if sensitive:
                        solved.moves[item, r] = solved.moves[item, other]
                    continue
                latest[plus] = r
                ohms = aim(h, ref, work, plus, minus, column)
                solved.ohms[item, r] = ohms
                siemens = probes.siemens[r]
                across = settled_volts[plus] - settled_volts[minus]
                share = 1.0 + siemens * ohms  # not above zero where the board pushes back: only settling tells
                tame = share > 0.0
                amps = siemens * (across - probes.volts[r]) / share
                most = siemens * (probes.volts[r] + probes.most[r])
                if tame and amps < -most:  # a test current at its limit depends on no volts
                    amps, share = -most, 1.0
                read = across - ohms * amps
                for node in range(size):
                    work.volts[node] = settled_volts[node] - column[node] * amps
                light = siemens == 0.0 or (steadiness != STEADY and tame)
                if not light and tame:
                    light = farthest(column) * abs(amps) < room or unmoved(h, rules, work)
                if light:
                    if sensitive:
                        felt(h, ref, work, plus, minus, row)
                        for node in range(size):
                            row[node] /= share
                        _moves(h, work, alias, latents, row, solved.moves[item, r])
                elif (
                    tame and not sensitive
                    and follow(
                        h, ref, ratios, rules, work, settled_volts, plus, minus, siemens, probes.volts[r],
                        probes.most[r],
                    )
                ):  # fmt: skip
                    read = work.volts[plus] - work.volts[minus]
                else:
                    work.volts[:] = settled_volts
                    work.size[HINGES] = _place_meter(h, total, plus, minus, siemens, probes.volts[r], probes.most[r])
                    work.size[STRUCTURE] = UNKNOWN
                    for k in range(total, work.size[HINGES]):
                        work.conducting[k] = k > total  # a test current is mostly in its limit
                    rounds = work.size[KEPT]
                    work.size[KEPT] = NO_GUESS
                    settle(h, ref, rules, ratios, work)
                    work.size[KEPT] = rounds
                    read = work.volts[plus] - work.volts[minus]
                    if sensitive:
                        rely(h, ref, work, probes.plus[v, r : r + 1], probes.minus[v, r : r + 1])
                        aim(h, ref, work, plus, minus, column)
                        felt(h, ref, work, plus, minus, row)
                        _moves(h, work, alias, latents, row, solved.moves[item, r])
                    restore(h, ref, ratios, rules, work, kept, kept_above, kept_ratios, settled_volts, total)
                    rely(h, ref, work, probes.plus[v], probes.minus[v])
                solved.read[item, r] = read
            item += 1
            for i in range(pack.replaced_start[v], pack.replaced_start[v + 1]):
                h.alive[pack.replaced[i]] = True
        for i in range(pack.port_start[v], pack.port_start[v + 1]):
            if pack.port_of[i] >= 0:
                alias[pack.port_of[i]] = pack.port_of[i]
