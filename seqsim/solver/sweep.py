"""The compiled loop over variants and severities: settle each, then take its readings."""

from __future__ import annotations

import numpy as np

from seqsim.network import WIDTH
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.arrays import Hinges, Ratios, Reference, Rules
from seqsim.solver.jit import compiled
from seqsim.solver.kernel import Settled, note, settle
from seqsim.solver.metering import take_readings
from seqsim.solver.pack import STUBS, Latents, Pack, Probes, Solved
from seqsim.solver.work import HINGES, KEPT, LIVE, NO_GUESS, STRUCTURE, UNKNOWN, Work


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
    alias = np.arange(base)
    settled = Settled(
        np.zeros(size), np.zeros(len(h.gate), dtype=np.bool_), np.zeros(len(kind), dtype=np.bool_),
        np.zeros(len(base_ratios.at)),
    )  # fmt: skip
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
            note(work, settled)
            if keeping:
                solved.volts[item] = work.volts
            for k in range(total):
                solved.conducting[item, k] = work.conducting[k]
            solved.above[item] = work.above
            solved.ratios[item] = work.ratios
            take_readings(h, ref, rules, ratios, work, probes, latents, alias, v, item, settled, solved)
            item += 1
            for i in range(pack.replaced_start[v], pack.replaced_start[v + 1]):
                h.alive[pack.replaced[i]] = True
        for i in range(pack.port_start[v], pack.port_start[v + 1]):
            if pack.port_of[i] >= 0:
                alias[pack.port_of[i]] = pack.port_of[i]
