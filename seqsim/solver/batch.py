"""Many variants at once: the packing around the compiled kernel.

Importing this module imports numba; a call compiles the kernel unless numba's cache has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH, Effect, Network, Variant
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver import kernel
from seqsim.solver.jit import compiled
from seqsim.solver.kernel import Hinges, Ratios, Reference, Rules, Work
from seqsim.solver.plain import active_conductance
from seqsim.solver.state import Levels, State
from seqsim.solver.system import LEAK

MOST_CHOSEN = 400
"""Hinges that may differ from the reference before the dense fallback takes over."""
STUBS = 24
"""Nodes that patches may add."""
PROBE_PORTS = 2
LIGHT_LOAD = 1e-5
"""A meter that changes a reading by less than this share is applied to the solution instead of solved for."""


class Pack(NamedTuple):
    """Variants end to end. Port ``q`` of item-severity ``s`` of a variant lies at ``port_start + q`` for what all
    severities share and at ``wide_start + s * ports + q`` for what differs.
    """

    port_start: Ints
    wide_start: Ints
    severities: Ints
    sense_at: Ints
    sense_weight: Floats
    inject_at: Ints
    inject_weight: Floats
    conductance: Floats
    threshold: Floats
    gate: Ints
    clamped: Bools
    after: Ints
    instead_of: Ints
    port_of: Ints
    replaced_start: Ints
    replaced: Ints
    row_set: Ints
    """which set of rule rows a variant has, 0 is the network's own"""
    rise_at: Ints
    rise_weight: Floats
    rising: Floats
    fall_at: Ints
    fall_weight: Floats
    falling: Floats
    gate_force: NDArray[np.int8]
    side_force: NDArray[np.int8]
    ratio_at: Ints
    ratio_nodes: Ints


class Probes(NamedTuple):
    """Readings to take: nodes (variants, r) of the leads, and what the meter is, a source behind a conductance."""

    plus: Ints
    minus: Ints
    siemens: Floats
    volts: Floats
    most: Floats
    """threshold of the limit hinge; infinite without a limit"""


class Latents(NamedTuple):
    """What spreads, as entries over hinges: latent, hinge, effect (0 scale, 1 shift, 2 gain), coefficient times the
    standard deviation, and for gains the weights at the hinge's inject places.
    """

    latent: Ints
    hinge: Ints
    effect: Ints
    coefficient: Floats
    weight: Floats
    count: int


class Solved(NamedTuple):
    """What came out, one row an item: volts (i, N) with ground last, state, steadiness and way, and per reading the
    volts (i, r), the Thevenin ohms without the meter (i, r) and, where asked for, the change for one standard
    deviation of each latent (i, r, l).
    """

    volts: Floats
    conducting: Bools
    above: Bools
    ratios: Floats
    steadiness: Ints
    way: Ints
    read: Floats
    ohms: Floats
    moves: Floats


@dataclass(frozen=True)
class Bench:
    """A network in one power state, factorised at a reference solution, ready for many variants."""

    network: Network
    static: Bools
    levels: Levels
    hinges: Hinges
    reference: Reference
    ratios: Ratios
    table: Ints
    table_start: Ints
    gate_start: Ints
    driven: Ints
    room: int

    @property
    def nodes(self) -> int:
        """Number of nodes with stubs and ground; the last is ground."""
        return len(self.reference.volts)

    def run(
        self,
        variants: Sequence[Variant],
        starts: Sequence[State] | None = None,
        probes: Probes | None = None,
        latents: Latents | None = None,
        severity: Sequence[int] | None = None,
    ) -> Solved:
        """Settle every severity of every variant (or one severity of each), and take the readings.

        Parameters
        ----------
        variants
            Variants of this network.
        starts
            A state for each variant, numbered as its hinges are; without them the reference's own.
        probes
            Readings, with the nodes of their leads for each variant.
        latents
            Spread to work out the readings' sensitivities for.
        severity
            One severity for each variant; without it all of them.
        """
        pack = pack_variants(self.network, variants, self.nodes - 1)
        ports = max([len(v.ports.gate) for v in variants], default=0)
        hinges = _with_room(self.hinges, ports + PROBE_PORTS)
        width = len(hinges.gate)
        count = int(pack.severities.sum()) if severity is None else len(variants)
        rows, ratios = len(self.network.row_names), len(self.network.ratios)
        readings = 0 if probes is None else len(probes.siemens)
        solved = Solved(
            volts=np.zeros((count, self.nodes)),
            conducting=np.zeros((count, width), dtype=np.bool_),
            above=np.zeros((count, rows), dtype=np.bool_),
            ratios=np.zeros((count, ratios)),
            steadiness=np.zeros(count, dtype=np.int64),
            way=np.zeros(count, dtype=np.int64),
            read=np.zeros((count, readings)),
            ohms=np.zeros((count, readings)),
            moves=np.zeros((count, readings, 0 if latents is None else latents.count)),
        )
        first = np.zeros((len(variants) if starts is not None else 1, width), dtype=np.bool_)
        first_above = np.zeros((len(first), rows), dtype=np.bool_)
        first_ratios = np.zeros((len(first), ratios))
        given = starts if starts is not None else [self.levels.state]
        for k, state in enumerate(given):
            first[k, : len(state.conducting)] = state.conducting
            first_above[k] = state.above
            first_ratios[k] = state.ratios
        _run(
            hinges, self.reference, self.ratios, self.static, self.table, self.table_start, self.gate_start,
            self.driven, self.network.rows.kind, self.network.row_start, pack,
            np.full(len(variants), -1, dtype=np.int64) if severity is None else np.asarray(severity, dtype=np.int64),
            first, first_above, first_ratios, starts is None,
            probes or _no_probes(len(variants)), latents or _no_latents(), latents is not None, solved,
        )  # fmt: skip
        return solved

    def state_of(self, solved: Solved, item: int, variant: Variant) -> State:
        """Return the state of one item, numbered as the variant's hinges are."""
        width = len(self.network.owners) + len(variant.ports.gate)
        return State(solved.conducting[item, :width].copy(), solved.above[item].copy(), solved.ratios[item].copy())


def bench(network: Network, static: Bools, levels: Levels) -> Bench:
    """Factorise a network in a power state at a solution of the network as built (``levels`` without patches)."""
    system = levels.system
    count = len(network.owners)
    nodes = system.nodes + STUBS + 1
    active = active_conductance(system, levels.state, levels.gates)
    inverse = np.zeros((nodes, nodes))
    inverse[: system.nodes, : system.nodes] = np.linalg.inv(system.matrix(active))
    stubs = np.arange(system.nodes, nodes - 1)
    inverse[stubs, stubs] = 1 / LEAK
    volts = np.zeros(nodes)
    volts[: system.nodes] = inverse[: system.nodes, : system.nodes] @ system.right_side(active)
    ground = nodes - 1
    random = np.random.default_rng(1).integers(1, 1 << 62, count + 4096, dtype=np.uint64)
    hinges = Hinges(
        np.where(system.sense_at == system.nodes, ground, system.sense_at),
        system.sense_weight,
        np.where(system.inject_at == system.nodes, ground, system.inject_at),
        system.inject_weight,
        system.conductance, system.threshold, system.gate, system.clamped, system.after, system.instead_of,
        system.alive, random,
    )  # fmt: skip
    tables = network.tables
    variant = system.variant
    return Bench(
        network=network,
        static=static,
        levels=levels,
        hinges=hinges,
        reference=Reference(inverse, volts, active, count),
        ratios=Ratios(
            variant.ratio_at, _grounded(variant.ratio_nodes, ground), variant.ratio_weights,
            np.array([ratio.efficiency for ratio in network.ratios], dtype=np.float64),
            np.array([ratio.floor for ratio in network.ratios], dtype=np.float64),
        ),
        table=np.concatenate([*tables, np.zeros(0, dtype=np.int64)]),
        table_start=np.cumsum([0, *(len(table) for table in tables)], dtype=np.int64),
        gate_start=np.cumsum([0, *(len(gates) for gates in network.rule_gates)], dtype=np.int64),
        driven=np.concatenate([*network.rule_gates, np.zeros(0, dtype=np.int64)]),
        room=count,
    )  # fmt: skip


def _grounded(at: Ints, ground: int) -> Ints:
    return np.where(at < 0, ground, at)


def _with_room(h: Hinges, room: int) -> Hinges:
    """Return the hinges of the network with empty places for ports behind them."""

    def longer(array: NDArray[np.generic], value: float) -> NDArray[np.generic]:
        shape = (room, *array.shape[1:])
        return np.concatenate([array, np.full(shape, value, dtype=array.dtype)])

    return Hinges(
        longer(h.sense_at, 0), longer(h.sense_weight, 0), longer(h.inject_at, 0), longer(h.inject_weight, 0),
        longer(h.conductance, 0), longer(h.threshold, 0), longer(h.gate, -1), longer(h.clamped, 0),
        longer(h.after, -1), longer(h.instead_of, -1), longer(h.alive, 0), h.label,
    )  # type: ignore[arg-type]  # fmt: skip


def pack_variants(network: Network, variants: Sequence[Variant], ground: int) -> Pack:
    """Lay variants end to end for the kernel; ``ground`` is the number of the node that stands for ground.

    Raises
    ------
    ValueError
        If a variant adds more nodes than there is room for.
    """
    ports = [v.ports for v in variants]
    sizes = np.array([len(p.gate) for p in ports], dtype=np.int64)
    severities = np.array([v.severities for v in variants], dtype=np.int64)
    if any(len(v.stubs) > STUBS for v in variants):
        message = f"patches add more than {STUBS} nodes"
        raise ValueError(message)
    sets, row_set = _row_sets(network, variants)
    rows = len(network.row_names)
    width = max([len(sets)], default=1)
    rise_at = np.zeros((width, rows, WIDTH), dtype=np.int64)
    fall_at = np.zeros((width, rows, WIDTH), dtype=np.int64)
    most = max([r.rising.shape[0] for r in sets], default=1)
    rising, falling = np.zeros((width, most, rows)), np.zeros((width, most, rows))
    for k, r in enumerate(sets):
        rise_at[k], fall_at[k] = _grounded(r.rise_at, ground), _grounded(r.fall_at, ground)
        rising[k, : len(r.rising)], falling[k, : len(r.falling)] = r.rising, r.falling
    flat = network.rows

    def cat(arrays: list[NDArray[np.generic]], empty: NDArray[np.generic]) -> NDArray[np.generic]:
        return np.concatenate([*arrays, empty])

    no_at, no_weight = np.zeros((0, WIDTH), dtype=np.int64), np.zeros((0, WIDTH))
    none, no_bool, no_float = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.bool_), np.zeros(0)
    return Pack(
        port_start=np.cumsum([0, *sizes], dtype=np.int64),
        wide_start=np.cumsum([0, *(sizes * severities)], dtype=np.int64),
        severities=severities,
        sense_at=_grounded(cat([p.sense_at for p in ports], no_at), ground),
        sense_weight=cat([p.sense_weight for p in ports], no_weight),
        inject_at=_grounded(cat([p.inject_at for p in ports], no_at), ground),
        inject_weight=cat([p.inject_weight.reshape(-1, WIDTH) for p in ports], no_weight),
        conductance=cat([p.conductance.ravel() for p in ports], no_float),
        threshold=cat([p.threshold.ravel() for p in ports], no_float),
        gate=cat([p.gate for p in ports], none),
        clamped=cat([p.clamped for p in ports], no_bool),
        after=cat([p.after for p in ports], none),
        instead_of=cat([p.instead_of for p in ports], none),
        port_of=cat([v.port_of for v in variants], none),
        replaced_start=np.cumsum([0, *(len(v.replaced) for v in variants)], dtype=np.int64),
        replaced=cat([v.replaced for v in variants], none),
        row_set=row_set,
        rise_at=rise_at, rise_weight=flat.rise_weight, rising=rising,
        fall_at=fall_at, fall_weight=flat.fall_weight, falling=falling,
        gate_force=np.array([v.gate_force for v in variants], dtype=np.int8).reshape(len(variants), -1),
        side_force=np.array([v.side_force for v in variants], dtype=np.int8).reshape(len(variants), -1),
        ratio_at=np.array([v.ratio_at for v in variants], dtype=np.int64).reshape(len(variants), -1),
        ratio_nodes=_grounded(
            np.array([v.ratio_nodes for v in variants], dtype=np.int64).reshape(len(variants), -1, 2, WIDTH), ground
        ),
    )  # type: ignore[arg-type]  # fmt: skip


def _row_sets(network: Network, variants: Sequence[Variant]) -> tuple[list, Ints]:  # type: ignore[type-arg]
    """Return the different sets of rule rows of variants, and which one each has."""
    sets: dict[tuple[bytes, ...], int] = {}
    kept, number = [], []
    for variant in variants:
        r = variant.rows
        key = (r.rise_at.tobytes(), r.fall_at.tobytes(), r.rising.tobytes(), r.falling.tobytes())
        if key not in sets:
            sets[key] = len(kept)
            kept.append(r)
        number.append(sets[key])
    return kept, np.array(number, dtype=np.int64)


def latents_of(network: Network, keep: Sequence[tuple[str, str]]) -> Latents:
    """Return the entries of the named knobs (owner, name), in their order; rows of rules move no level."""
    latent, hinge, effect, coefficient, weight = [], [], [], [], []
    codes = {Effect.SCALE: 0, Effect.SHIFT: 1, Effect.GAIN: 2}
    for number, key in enumerate(keep):
        knob = network.knobs[key]
        for turned in knob.turned:
            if turned.effect is Effect.ROW:
                continue
            for k in network.hinges_of.get(knob.owner, ()):
                if network.roles[k] != turned.role:
                    continue
                at = network.hinges.inject_at[k].tolist()
                places = np.zeros(WIDTH)
                for terminal, value in turned.inject.items():
                    places[at.index(network.terminal_index[terminal])] = value
                latent.append(number)
                hinge.append(int(k))
                effect.append(codes[turned.effect])
                coefficient.append(turned.coefficient * knob.spread)
                weight.append(places)
    return Latents(
        np.array(latent, dtype=np.int64), np.array(hinge, dtype=np.int64), np.array(effect, dtype=np.int64),
        np.array(coefficient, dtype=np.float64), np.array(weight, dtype=np.float64).reshape(-1, WIDTH), len(keep),
    )  # fmt: skip


def _no_probes(variants: int) -> Probes:
    none = np.zeros((variants, 0), dtype=np.int64)
    return Probes(none, none, np.zeros(0), np.zeros(0), np.zeros(0))


def _no_latents() -> Latents:
    none = np.zeros(0, dtype=np.int64)
    return Latents(none, none, none, np.zeros(0), np.zeros((0, WIDTH)), 0)


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
    return base + count


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
def _run(
    h: Hinges, ref: Reference, base_ratios: Ratios, static: Bools, table: Ints, table_start: Ints, gate_start: Ints,
    driven: Ints, kind: Ints, row_start: Ints, pack: Pack, severity: Ints, first: Bools, first_above: Bools,
    first_ratios: Floats, from_reference: bool, probes: Probes, latents: Latents, sensitive: bool, solved: Solved,
) -> None:  # fmt: skip
    size = len(ref.volts)
    base = ref.count
    width = len(h.gate)
    rows = len(kind)
    work = Work(
        np.zeros(size), np.zeros(width, dtype=np.bool_), np.zeros(width, dtype=np.bool_), np.zeros(width),
        static.copy(), np.zeros(rows, dtype=np.bool_), np.zeros(rows, dtype=np.bool_),
        np.zeros(len(base_ratios.at)), np.zeros(MOST_CHOSEN, dtype=np.int64), np.zeros(MOST_CHOSEN),
        np.zeros(MOST_CHOSEN), np.zeros((MOST_CHOSEN, MOST_CHOSEN)), np.zeros(MOST_CHOSEN), np.zeros(size),
        np.zeros(width), np.zeros(2, dtype=np.int64),
    )  # fmt: skip
    row = np.zeros(size)
    alias = np.arange(base)
    kept = np.zeros(width, dtype=np.bool_)
    kept_above = np.zeros(rows, dtype=np.bool_)
    kept_ratios = np.zeros(len(base_ratios.at))
    settled_volts = np.zeros(size)
    item = 0
    for v in range(len(pack.severities)):
        low, high = 0, pack.severities[v]
        if severity[v] >= 0:
            low, high = severity[v], severity[v] + 1
        ratios = Ratios(
            pack.ratio_at[v], pack.ratio_nodes[v], base_ratios.weights, base_ratios.efficiency, base_ratios.floor
        )
        rows_at = pack.row_set[v]
        for i in range(pack.port_start[v], pack.port_start[v + 1]):
            if pack.port_of[i] >= 0:
                alias[pack.port_of[i]] = base + i - pack.port_start[v]
        for s in range(low, high):
            total = _place_ports(h, pack, v, s, base)
            at = min(s, pack.rising.shape[1] - 1)
            rules = Rules(
                pack.rise_at[rows_at], pack.rise_weight, pack.rising[rows_at, at], pack.fall_at[rows_at],
                pack.fall_weight, pack.falling[rows_at, at], kind, row_start, table_start, table, gate_start, driven,
                static, pack.gate_force[v], pack.side_force[v],
            )  # fmt: skip
            work.size[0] = total
            if from_reference:
                for k in range(base):
                    work.conducting[k] = first[0, k]
                for k in range(base, total):
                    origin = pack.port_of[pack.port_start[v] + k - base]
                    work.conducting[k] = origin >= 0 and first[0, origin]
                work.above[:] = first_above[0]
                work.ratios[:] = first_ratios[0]
            else:
                for k in range(total):
                    work.conducting[k] = first[v, k]
                work.above[:] = first_above[v]
                work.ratios[:] = first_ratios[v]
            steadiness, way = kernel.settle(h, ref, rules, ratios, work)
            solved.steadiness[item] = steadiness
            solved.way[item] = way
            for node in range(size):
                solved.volts[item, node] = work.volts[node]
                settled_volts[node] = work.volts[node]
            for k in range(total):
                solved.conducting[item, k] = work.conducting[k]
                kept[k] = work.conducting[k]
            solved.above[item] = work.above
            solved.ratios[item] = work.ratios
            kept_above[:] = work.above
            kept_ratios[:] = work.ratios
            for r in range(len(probes.siemens)):
                plus, minus = probes.plus[v, r], probes.minus[v, r]
                if plus == minus:
                    continue
                kernel.restore(h, ref, ratios, rules, work, kept, kept_above, kept_ratios, settled_volts, total)
                ohms = kernel.probe(h, ref, work, plus, minus, row)
                solved.ohms[item, r] = ohms
                siemens = probes.siemens[r]
                read = settled_volts[plus] - settled_volts[minus]
                load = abs(ohms * siemens)
                if probes.volts[r] == 0.0 and (load < LIGHT_LOAD or steadiness != 0):
                    read /= 1.0 + load
                elif siemens > 0.0:
                    work.size[0] = _place_meter(h, total, plus, minus, siemens, probes.volts[r], probes.most[r])
                    for k in range(total, work.size[0]):
                        work.conducting[k] = False
                    kernel.settle(h, ref, rules, ratios, work)
                    read = work.volts[plus] - work.volts[minus]
                    if sensitive:
                        kernel.probe(h, ref, work, plus, minus, row)
                solved.read[item, r] = read
                if sensitive:
                    _moves(h, work, alias, latents, row, solved.moves[item, r])
            item += 1
            for i in range(pack.replaced_start[v], pack.replaced_start[v + 1]):
                h.alive[pack.replaced[i]] = True
        for i in range(pack.port_start[v], pack.port_start[v + 1]):
            if pack.port_of[i] >= 0:
                alias[pack.port_of[i]] = pack.port_of[i]
