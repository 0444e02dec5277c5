"""Many variants at once: a bench holds one factorised reference and settles variants on it.

Importing this module imports numba; a call compiles the kernel unless numba's cache has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH, Network, Variant
from seqsim.network.network import Bools, Ints
from seqsim.solver.arrays import Hinges, Ratios, Reference
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
)  # fmt: skip
from seqsim.solver.plain import active_conductance
from seqsim.solver.state import Levels, State
from seqsim.solver.sweep import sweep
from seqsim.solver.system import LEAK, System
from seqsim.solver.work import workspace

__all__ = ["Bench", "Latents", "Pack", "Probes", "Solved", "bench", "latents_of", "pack_variants"]

PROBE_PORTS = 2
"""Hinges that a meter needs: its source, and the limit of its current."""

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
        announce("sweep")
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
            moves=np.zeros((count, readings, 0 if latents is None else latents.size)),
        )
        shape = (1, len(self.network.owners)) if starts is None else (len(variants), width)
        first = np.zeros(shape, dtype=np.bool_)
        first_above = np.zeros((len(first), rows), dtype=np.bool_)
        first_ratios = np.zeros((len(first), ratios))
        given = starts if starts is not None else [self.levels.state]
        for k, state in enumerate(given):
            first[k, : len(state.conducting)] = state.conducting
            first_above[k] = state.above
            first_ratios[k] = state.ratios
        work = workspace(self.place, width, rows, len(self.network.gates), ratios)
        sweep(
            hinges, self.reference, self.ratios, self.static, self.table, self.table_start, self.gate_start,
            self.driven, self.network.rows.kind, self.network.row_start, pack,
            np.full(len(variants), -1, dtype=np.int64) if severity is None else np.asarray(severity, dtype=np.int64),
            first, first_above, first_ratios, probes or no_probes(len(variants)), latents or no_latents(), solved, work,
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
