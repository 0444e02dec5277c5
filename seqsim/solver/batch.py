"""Many variants at once: a bench holds one factorised reference and settles variants on it.

Importing this module imports numba; a call compiles the kernel unless numba's cache has it.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH, Network, Variant
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.arrays import STEADY, Hinges, Ratios, Reference
from seqsim.solver.jit import announce
from seqsim.solver.ordering import elimination_order
from seqsim.solver.pack import (
    STUBS,
    Latents,
    Pack,
    Probes,
    Solved,
    grounded,
    latents_of,
    no_latents,
    no_probes,
    pack_variants,
    room_for,
)  # fmt: skip
from seqsim.solver.plain import active_conductance
from seqsim.solver.state import Levels, State
from seqsim.solver.sweep import sweep
from seqsim.solver.system import LEAK, System
from seqsim.solver.work import workspace

__all__ = ["Bench", "Latents", "Pack", "Probes", "Solved", "bench", "latents_of", "pack_variants"]

PROBE_PORTS = 2
"""Hinges that a meter needs: its source, and the limit of its current."""
WORKERS = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
"""Threads that settle variants: the kernel holds no lock while it runs."""
SLICES = 8
"""Slices a thread, so that none waits long for the one with the slow variants."""
LEAST_ITEMS = 64
"""Items a thread below which starting it is not worth while."""

Scalar = TypeVar("Scalar", np.int64, np.float64, np.bool_)


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
    place: Ints
    """(N,) when each node is eliminated, where a fault changes much: stubs first, ground last"""

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
        *,
        known: Solved | None = None,
        volts: bool = True,
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
        known
            What came out for all severities of the same variants before: those that were steady are taken up there.
        volts
            Keep the volts of every node; many variants of a large board have many.
        """
        announce("sweep")
        job = self.job(variants, starts, probes, latents, severity, known=known, volts=volts)
        workers = min(WORKERS, len(job.solved.way) // LEAST_ITEMS)
        if workers < 2:
            job.run()
            return job.solved
        edges = np.linspace(0, len(variants), 1 + min(workers * SLICES, len(variants))).astype(np.int64).tolist()
        for _ in _pool().map(job.run, edges[:-1], edges[1:]):
            pass
        return job.solved

    def job(
        self,
        variants: Sequence[Variant],
        starts: Sequence[State] | None = None,
        probes: Probes | None = None,
        latents: Latents | None = None,
        severity: Sequence[int] | None = None,
        *,
        known: Solved | None = None,
        volts: bool = True,
    ) -> Job:
        """Return what `run` runs, with its arguments."""
        pack = pack_variants(self.network, variants, self.nodes - 1)
        ports = max([len(v.ports.gate) for v in variants], default=0)
        width = len(self.hinges.gate) + ports + PROBE_PORTS
        rows, ratios = len(self.network.row_names), len(self.network.ratios)
        given = [self.levels.state, *(starts or ())]
        first = np.zeros((len(given), width), dtype=np.bool_)
        first_above = np.zeros((len(given), rows), dtype=np.bool_)
        first_ratios = np.zeros((len(given), ratios))
        for k, state in enumerate(given):
            first[k, : len(state.conducting)] = state.conducting
            first_above[k] = state.above
            first_ratios[k] = state.ratios
        latents = latents or no_latents()
        probes = probes or no_probes(len(variants))
        count = pack.severities if severity is None else np.ones(len(variants), dtype=np.int64)
        items = np.concatenate([[0], np.cumsum(count)])
        origin = np.repeat(np.zeros_like(count) if starts is None else 1 + np.arange(len(count)), count)
        if known is not None:
            origin = np.where(known.steadiness == STEADY, -len(first) - np.arange(len(origin)), origin)
            first = np.concatenate([first, known.conducting])
            first_above = np.concatenate([first_above, known.above])
            first_ratios = np.concatenate([first_ratios, known.ratios])
        return Job(
            bench=self,
            room=ports + PROBE_PORTS,
            pack=pack,
            severity=np.full(len(variants), -1) if severity is None else np.asarray(severity, dtype=np.int64),
            items=items,
            origin=origin,
            first=first,
            first_above=first_above,
            first_ratios=first_ratios,
            probes=probes,
            latents=latents,
            solved=room_for(
                int(items[-1]), self.nodes, width, rows, ratios, len(probes.siemens), latents.size, volts=volts
            ),
        )

    def state_of(self, solved: Solved, item: int, variant: Variant) -> State:
        """Return the state of one item, numbered as the variant's hinges are."""
        width = len(self.network.owners) + len(variant.ports.gate)
        return State(solved.conducting[item, :width].copy(), solved.above[item].copy(), solved.ratios[item].copy())


@cache
def _pool() -> ThreadPoolExecutor:
    """Return the threads that settle variants: starting them anew takes as long as a small job."""
    if hasattr(os, "register_at_fork"):
        os.register_at_fork(after_in_child=_pool.cache_clear)  # a child has none of its parent's threads
    return ThreadPoolExecutor(WORKERS)


@dataclass(frozen=True)
class Job:
    """Variants laid out for the kernel, and the arrays that it fills.

    Slices of it may run at the same time: each has hinges and scratch space of its own, and all of them fill rows of
    ``solved`` that are theirs alone. ``items`` (v + 1,) are the rows at which each variant begins.
    """

    bench: Bench
    room: int
    pack: Pack
    severity: Ints
    items: Ints
    origin: Ints
    first: Bools
    first_above: Bools
    first_ratios: Floats
    probes: Probes
    latents: Latents
    solved: Solved

    def run(self, begin: int = 0, end: int | None = None) -> None:
        """Settle the variants from ``begin`` to before ``end`` and take their readings."""
        b = self.bench
        hinges = _with_room(b.hinges, self.room)
        work = workspace(
            b.place, len(hinges.gate), self.first_above.shape[1], len(b.network.gates), self.first_ratios.shape[1]
        )
        sweep(
            hinges, b.reference, b.ratios, b.static, b.table, b.table_start, b.gate_start, b.driven,
            b.network.paces, b.network.rows.kind, b.network.row_start, self.pack, self.severity, self.origin,
            self.first, self.first_above, self.first_ratios, self.probes, self.latents, self.solved, work,
            begin, len(self.severity) if end is None else end, self.items[begin],
        )  # fmt: skip


def bench(network: Network, static: Bools, levels: Levels) -> Bench:
    """Factorise a network in a power state at a solution of the network as built (``levels`` without patches)."""
    system = levels.system
    count = len(network.owners)
    nodes = system.nodes + STUBS + 1
    active = active_conductance(system, levels.state, levels.gates)
    inverse = np.zeros((nodes, nodes))
    matrix = system.matrix(active)
    sign = np.array([np.linalg.slogdet(matrix)[0]])
    inverse[: system.nodes, : system.nodes] = np.linalg.inv(matrix)
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
        reference=Reference(inverse, np.ascontiguousarray(inverse.T), volts, active, sign),
        ratios=Ratios(
            variant.ratio_at, grounded(variant.ratio_nodes, ground), variant.ratio_weights,
            np.array([ratio.efficiency for ratio in network.ratios], dtype=np.float64),
            np.array([ratio.floor for ratio in network.ratios], dtype=np.float64),
        ),
        table=np.concatenate([*tables, np.zeros(0, dtype=np.int64)]),
        table_start=np.cumsum([0, *(len(table) for table in tables)], dtype=np.int64),
        gate_start=np.cumsum([0, *(len(gates) for gates in network.rule_gates)], dtype=np.int64),
        driven=np.concatenate([*network.rule_gates, np.zeros(0, dtype=np.int64)]),
        place=_places(system, nodes),
    )  # fmt: skip


def _places(system: System, nodes: int) -> Ints:
    first = np.repeat(system.inject_at, WIDTH, axis=1).ravel()
    second = np.tile(system.sense_at, WIDTH).ravel()
    both = (system.products.ravel() != 0) & (first < system.nodes) & (second < system.nodes)
    order = elimination_order(first[both], second[both], system.nodes)
    stubs = range(system.nodes, nodes - 1)
    place = np.zeros(nodes, dtype=np.int64)
    place[[*stubs, *order, nodes - 1]] = np.arange(nodes)
    return place


def _with_room(h: Hinges, room: int) -> Hinges:
    """Return the hinges of the network with empty places for ports behind them."""

    def longer(array: NDArray[Scalar], value: float) -> NDArray[Scalar]:
        return np.concatenate([array, np.full((room, *array.shape[1:]), value, dtype=array.dtype)])

    return Hinges(
        longer(h.sense_at, 0), longer(h.sense_weight, 0), longer(h.inject_at, 0), longer(h.inject_weight, 0),
        longer(h.conductance, 0), longer(h.threshold, 0), longer(h.gate, -1), longer(h.clamped, 0),
        longer(h.after, -1), longer(h.instead_of, -1), longer(h.alive, 0), h.label,
    )  # fmt: skip
