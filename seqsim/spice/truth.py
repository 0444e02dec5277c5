"""How true the switch level is: library boards, healthy and with single faults, beside SPICE with full models.

Half of the circuits are for tuning the laws, half for measuring only; which is which follows from the circuit's name
and never changes.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from seqsim.circuit import Circuit, compile_network, find_circuit, read_circuit
from seqsim.circuit.model import OFF
from seqsim.errors import SpiceFailedError
from seqsim.faults import middle, single_faults
from seqsim.network import Network, Patch
from seqsim.network.network import Bools, Floats
from seqsim.solver import FLOATING_OHMS, Levels, Steadiness
from seqsim.solver.sensitivity import node_impedance
from seqsim.spice.causes import Asked, causes, floating_inputs
from seqsim.spice.compare import Basin, Comparison, SpiceState, compare, every_state
from seqsim.spice.engine import Engine, engine
from seqsim.spice.models import full_model
from seqsim.spice.truth_store import stored

MOVED_VOLTS = 0.1
"""A fault has moved a node that it takes further than this from its healthy level."""
LISTED_VOLTS = 0.1
"""Disagreements above this are listed with their cause."""
KICKED_VOLTS = 0.1
"""Points of SPICE that differ by more than this from the switch level are kicked."""
LOGIC_VOLTS = 0.5
"""Nets that move by less than this between the healthy power states carry no logic level."""
MOST_FAULTS = {Basin.SEEDED: 1000, Basin.COLD: 120}
"""Boards with more faults than this are measured on a sample of so many, drawn with the circuit's name as seed."""
CHUNK = 40
"""Faults that a worker process takes at once."""
TASKS = 10
"""Chunks after which a worker process is replaced: the engine's memory grows with its runs."""
HEALTHY = "healthy"
FIRST_MEASURED = ("double_inversion", "inverting_npn", "n_channel_pass", "power_good_chain")
"""Circuits for measuring whose figures were looked at while the laws were tuned."""


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

    ``outcome`` is ``compared``, ``metastable`` (compared with where a kick led), ``oscillates`` (switch level),
    ``failed`` (SPICE found no steady point) or ``not shown`` (no card shows the fault); the last three have no nodes.
    ``floating`` are the nodes that nothing drives.
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


@dataclass(frozen=True)
class Job:
    """Some faults of a circuit, by their numbers in its list; -1 is the healthy board."""

    circuit: str
    basin: Basin
    faults: tuple[int, ...]


def for_measuring(circuit: str) -> bool:
    """Tell whether a circuit is kept for measuring; the others are for tuning."""
    return zlib.crc32(circuit.encode()) % 2 == 1


def untouched(circuit: str) -> bool:
    """Tell whether a circuit is kept for measuring and its figures never guided a law."""
    return for_measuring(circuit) and circuit not in FIRST_MEASURED


def jobs_of(circuit: str, basin: Basin, most: int | None = None) -> list[Job]:
    """Return the healthy board and all faults of a circuit, or ``most`` of them, in portions."""
    count = len(single_faults(read_circuit(find_circuit(circuit))))
    most = MOST_FAULTS[basin] if most is None else most
    chosen = list(range(count))
    if count > most:
        chosen = sorted(random.Random(zlib.crc32(circuit.encode())).sample(chosen, most))  # noqa: S311 - a sample
    chosen = [-1, *chosen]
    return [Job(circuit, basin, tuple(chosen[k : k + CHUNK])) for k in range(0, len(chosen), CHUNK)]


def measure(
    circuits: Sequence[str],
    basins: Sequence[Basin] = tuple(Basin),
    *,
    workers: int = 2,
    most: int | None = None,
    folder: Path | None = None,
) -> Iterator[list[Sample]]:
    """Yield the samples of each circuit and basin, from worker processes that are replaced as they grow.

    What lies in ``folder`` from an earlier run of the same code and circuit is taken from there.
    """
    groups = [(basin, name, jobs_of(name, basin, most)) for basin in basins for name in circuits]
    work = [(job, folder) for _, _, jobs in groups for job in jobs]
    with get_context("spawn").Pool(workers, maxtasksperchild=TASKS) as pool:
        found = pool.imap(_done, work)
        for _, _, jobs in groups:
            yield [sample for _ in jobs for sample in next(found)]


def _done(work: tuple[Job, Path | None]) -> list[Sample]:
    job, folder = work
    return run_job(job) if folder is None else stored(folder, job, run_job)


def run_job(job: Job) -> list[Sample]:
    """Return the samples of a job, from the engine of this process."""
    circuit = read_circuit(find_circuit(job.circuit))
    faults = single_faults(circuit)
    bench = _Bench(job.circuit, circuit, compile_network(circuit), engine(), job.basin)
    found: list[Sample] = []
    for k in job.faults:
        name, patches = (HEALTHY, ()) if k < 0 else (faults[k].name, faults[k].patches(middle(faults[k].severity)))
        found += bench.samples(name, patches)
    return found


class _Bench:
    """One circuit, with its healthy levels in SPICE."""

    def __init__(self, name: str, circuit: Circuit, network: Network, spice: Engine, basin: Basin) -> None:
        self.name, self.circuit, self.network, self.spice, self.basin = name, circuit, network, spice, basin
        unknown = np.full(len(network.node_names), np.nan)
        self.healthy: dict[str, Floats] = {}
        for state, levels in every_state(circuit, network, (), cold=basin is Basin.COLD):
            both = self.compared(levels, (), state)
            self.healthy[state] = unknown if both is None else both.spice
        table = np.array(list(self.healthy.values()))
        highest, lowest = np.nanmax(table, axis=0, initial=0.0), np.nanmin(table, axis=0, initial=0.0)
        self.middle = (highest + lowest) / 2
        self.logic = highest - lowest > LOGIC_VOLTS

    def compared(self, levels: Levels, patches: tuple[Patch, ...], state: str) -> Comparison | None:
        if levels.steadiness is not Steadiness.STEADY:
            return None
        return compare(
            self.spice, self.circuit, self.network, levels, state, patches,
            basin=self.basin, write_model=full_model, kick_above=KICKED_VOLTS,
        )  # fmt: skip

    def samples(self, fault: str, patches: tuple[Patch, ...]) -> Iterator[Sample]:
        """Yield a board in each of its power states."""
        for state, levels in every_state(self.circuit, self.network, patches, cold=self.basin is Basin.COLD):
            if state == OFF:
                continue  # nothing is applied: every node is at 0 V in both
            try:
                both = self.compared(levels, patches, state)
            except SpiceFailedError:
                yield self._without(fault, state, "not shown")
                continue
            if both is None or both.state is SpiceState.FAILED:
                yield self._without(fault, state, "oscillates" if both is None else "failed")
            else:
                yield self._sample(fault, state, levels, both, patches)

    def _sample(self, fault: str, state: str, levels: Levels, both: Comparison, patches: tuple[Patch, ...]) -> Sample:
        shown = np.array(sorted(both.deck.nodes), dtype=np.int64)
        errors = both.difference[shown]
        nets = shown < self.network.nets
        moved = np.zeros(len(shown), dtype=np.bool_)
        moved[nets] = np.abs(both.spice[shown[nets]] - self.healthy[state][shown[nets]]) > MOVED_VOLTS
        number = {node: k for k, node in both.deck.nodes.items()}
        names = {number[node]: place for place, node in both.deck.places.items()}
        asked = Asked(self.spice, self.circuit, self.network, state, patches, full_model)
        listed = tuple(
            Disagreement(self.name, fault, state, names[k], float(levels.volts[k]), float(both.spice[k]), why)
            for k, why in causes(asked, both, LISTED_VOLTS).items()
        )
        return Sample(
            self.name, fault, state, self.basin,
            "metastable" if both.state is SpiceState.METASTABLE else "compared",
            errors, moved, np.diag(node_impedance(levels))[shown] > FLOATING_OHMS,
            self._agrees(levels, both), bool(floating_inputs(levels)), listed,
        )  # fmt: skip

    def _agrees(self, levels: Levels, both: Comparison) -> bool:
        """Tell whether each net with a logic level is on the same side of its middle in both."""
        nets = self.network.nets
        logic, middle_volts = self.logic[:nets], self.middle[:nets]
        high = levels.volts[:nets] > middle_volts, both.spice[:nets] > middle_volts
        far = np.abs(both.difference[:nets]) > MOVED_VOLTS
        return not bool((logic & far & (high[0] != high[1])).any())

    def _without(self, fault: str, state: str, outcome: str) -> Sample:
        nothing, no = np.zeros(0), np.zeros(0, dtype=np.bool_)
        return Sample(self.name, fault, state, self.basin, outcome, nothing, no, no, True, False)
