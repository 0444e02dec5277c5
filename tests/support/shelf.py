"""The library's circuits made ready for the kernel: benches for each power state, and every single fault."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from seqsim.circuit import Circuit, read_circuit, state_gates
from seqsim.faults import single_faults
from seqsim.network import Network, Variant, vary
from seqsim.solver import Levels, solve, static_gates
from seqsim.solver.batch import Bench, bench

FOLDER = Path(__file__).parents[2] / "circuits"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.yaml") if not path.name.endswith(".readings.yaml")))


Item = TypeVar("Item")
LARGE_PARTS = 100
"""Of circuits with more parts the default tests take a sample, the benchmarks all."""
EACH = 10
"""Of the faults or nets of a large circuit, each so many-th is in the sample."""


def sample(circuit: Circuit, items: Sequence[Item]) -> Sequence[Item]:
    """Return all items of a circuit of usual size, each so many-th of a large one."""
    return items[::EACH] if len(circuit.parts) > LARGE_PARTS else items


def large(name: str) -> bool:
    """Tell whether a circuit of the library is one of which the default tests take a sample."""
    return len(read_circuit(FOLDER / f"{name}.yaml").parts) > LARGE_PARTS


@dataclass(frozen=True)
class State:
    """A circuit in one power state, healthy."""

    name: str
    levels: Levels
    bench: Bench


def states(circuit: Circuit, network: Network) -> Iterator[State]:
    """Yield the power states in their order, each solved from the one before."""
    levels: Levels | None = None
    for name in circuit.power_states:
        gates = state_gates(circuit, name)
        levels = solve(network, gates=gates, start=None if levels is None else levels.state)
        yield State(name, levels, bench(network, static_gates(network, gates), levels))


def faulted(
    circuit: Circuit, network: Network, *, ends: bool, sampled: bool = False
) -> tuple[list[str], list[Variant]]:
    """Return single faults at their middle severity, with ``ends`` also at both ends: names and variants.

    All of them, or the ``sampled`` ones of a large circuit.
    """
    names, variants = [], []
    faults = single_faults(circuit)
    for fault in sample(circuit, faults) if sampled else faults:
        if fault.severity is None:
            severities = [1.0]
        else:
            severities = [float(fault.severity.points(1)[0])]
            severities += [fault.severity.low, fault.severity.high] if ends else []
        for severity in severities:
            names.append(f"{fault.name} at {severity:.3g}")
            variants.append(vary(network, fault.patches(severity)))
    return names, variants
