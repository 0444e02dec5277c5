"""How true the switch level is: library boards, healthy and with every single fault, beside SPICE with full models.

Half of the circuits are for tuning the laws, half for measuring only; which is which follows from the circuit's name
and never changes.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np

from seqsim.circuit import Circuit, compile_network, find_circuit, read_circuit
from seqsim.errors import SpiceFailedError
from seqsim.faults import middle, single_faults
from seqsim.network import Network, Patch, vary
from seqsim.network.network import Bools, Floats
from seqsim.solver import FLOATING_OHMS, Levels, Steadiness
from seqsim.solver.sensitivity import node_impedance
from seqsim.spice.causes import cause
from seqsim.spice.compare import Basin, Comparison, SpiceState, compare, switch_levels
from seqsim.spice.engine import Engine, engine
from seqsim.spice.models import full_model

MOVED_VOLTS = 0.1
"""A fault has moved a node that it takes further than this from its healthy level."""
LISTED_VOLTS = 0.3
"""Disagreements above this are listed with their cause."""
KICKED_VOLTS = 0.1
"""Points of SPICE that differ by more than this from the switch level are kicked."""
LOGIC_VOLTS = 0.5
"""Nets that move by less than this between the healthy power states carry no logic level."""
CHUNK = 40
"""Faults that a worker process takes at once."""
TASKS = 10
"""Chunks after which a worker process is replaced: the engine's memory grows with its runs."""
HEALTHY = "healthy"


@dataclass(frozen=True)
class Disagreement:
    """A node whose two levels lie far apart."""

    circuit: str
    fault: str
    state: str
    node: str
    switch_level: float
    spice: float
    cause: str


@dataclass(frozen=True)
class Sample:
    """One board in one power state: the differences of its nodes (n,) and what they are.

    ``outcome`` is ``compared``, ``metastable`` (compared with where a kick led), ``oscillates`` (switch level) or
    ``failed`` (SPICE found no steady point); the last two have no nodes. ``outside`` are the nodes that nothing
    drives, or that a floating input decides.
    """

    circuit: str
    fault: str
    state: str
    basin: Basin
    outcome: str
    errors: Floats
    moved: Bools
    floating: Bools
    logic_agrees: bool
    input_floats: bool
    listed: tuple[Disagreement, ...] = ()


def for_measuring(circuit: str) -> bool:
    """Tell whether a circuit is kept for measuring; the others are for tuning."""
    return zlib.crc32(circuit.encode()) % 2 == 1


def measure(circuits: Sequence[str], basins: Sequence[Basin] = tuple(Basin), *, workers: int = 2) -> Iterator[Sample]:
    """Yield a sample for each board, power state and basin, from worker processes that are replaced as they grow."""
    jobs = []
    for name in circuits:
        count = 1 + len(single_faults(read_circuit(find_circuit(name))))
        jobs += [(name, start, basin) for basin in basins for start in range(0, count, CHUNK)]
    if workers == 0:
        for job in jobs:
            yield from _chunk(job)
        return
    with get_context("spawn").Pool(workers, maxtasksperchild=TASKS) as pool:
        for found in pool.imap(_chunk, jobs):
            yield from found


def _chunk(job: tuple[str, int, Basin]) -> list[Sample]:
    name, start, basin = job
    circuit = read_circuit(find_circuit(name))
    boards: list[tuple[str, tuple[Patch, ...]]] = [(HEALTHY, ())]
    boards += [(fault.name, fault.patches(middle(fault.severity))) for fault in single_faults(circuit)]
    bench = _Bench(name, circuit, compile_network(circuit), engine(), basin)
    return [
        sample
        for fault, patches in boards[start : start + CHUNK]
        for state in circuit.power_states
        for sample in [bench.sample(fault, patches, state)]
    ]


class _Bench:
    """One circuit, with its healthy levels in SPICE."""

    def __init__(self, name: str, circuit: Circuit, network: Network, spice: Engine, basin: Basin) -> None:
        self.name, self.circuit, self.network, self.spice, self.basin = name, circuit, network, spice, basin
        self.healthy: dict[str, Floats] = {}
        for state in circuit.power_states:
            both = self.compared((), state)[1]
            self.healthy[state] = np.full(len(network.node_names), np.nan) if both is None else both.spice
        table = np.array(list(self.healthy.values()))
        self.middle = (np.nanmax(table, axis=0, initial=0.0) + np.nanmin(table, axis=0, initial=0.0)) / 2
        self.logic = np.nanmax(table, axis=0, initial=0.0) - np.nanmin(table, axis=0, initial=0.0) > LOGIC_VOLTS

    def compared(self, patches: tuple[Patch, ...], state: str) -> tuple[Levels, Comparison | None]:
        cold = self.basin is Basin.COLD
        levels = switch_levels(self.circuit, self.network, state, patches, cold=cold)
        if levels.steadiness is not Steadiness.STEADY:
            return levels, None
        return levels, compare(
            self.spice, self.circuit, self.network, levels, state, patches,
            basin=self.basin, write_model=full_model, kick_above=KICKED_VOLTS,
        )  # fmt: skip

    def sample(self, fault: str, patches: tuple[Patch, ...], state: str) -> Sample:
        try:
            levels, both = self.compared(patches, state)
        except SpiceFailedError:
            return self._without(fault, state, "not shown")
        if both is None:
            return self._without(fault, state, "oscillates")
        if both.state is SpiceState.FAILED:
            return self._without(fault, state, "failed")
        variant = vary(self.network, patches)
        shown = np.array(sorted(both.deck.nodes), dtype=np.int64)
        errors = both.difference[shown]
        impedance = np.diag(node_impedance(levels))
        floating = impedance[shown] > FLOATING_OHMS
        nets = shown < self.network.nets
        moved = np.zeros(len(shown), dtype=np.bool_)
        moved[nets] = np.abs(both.spice[shown[nets]] - self.healthy[state][shown[nets]]) > MOVED_VOLTS
        rows = variant.rows
        senses = (impedance[rows.rise_at] > FLOATING_OHMS) & (rows.rise_at >= 0) & (rows.rise_weight != 0)
        input_floats = bool((senses.any(axis=1) & (variant.side_force < 0)).any())
        names = {variant_node: place for place, node in both.deck.places.items()
                 for variant_node in [int(node[1:]) - 1]}  # fmt: skip
        listed = tuple(
            Disagreement(
                self.name, fault, state, names[int(k)], float(levels.volts[k]), float(both.spice[k]),
                cause(self.circuit, levels, both.spice, int(k)),
            )
            for k, error in zip(shown, errors, strict=True)
            if abs(error) > LISTED_VOLTS
        )  # fmt: skip
        outcome = "metastable" if both.state is SpiceState.METASTABLE else "compared"
        return Sample(
            self.name, fault, state, self.basin, outcome, errors, moved, floating,
            self._agrees(levels, both), input_floats, listed,
        )  # fmt: skip

    def _agrees(self, levels: Levels, both: Comparison) -> bool:
        """Tell whether each net with a logic level is on the same side of its middle in both."""
        nets = self.network.nets
        logic, middle_volts = self.logic[:nets], self.middle[:nets]
        low = levels.volts[:nets] > middle_volts, both.spice[:nets] > middle_volts
        far = np.abs(both.difference[:nets]) > MOVED_VOLTS
        return not bool((logic & far & (low[0] != low[1])).any())

    def _without(self, fault: str, state: str, outcome: str) -> Sample:
        nothing, no = np.zeros(0), np.zeros(0, dtype=np.bool_)
        return Sample(self.name, fault, state, self.basin, outcome, nothing, no, no, True, False)
