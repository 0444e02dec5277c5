"""The library's circuits made ready for the kernel: benches for each power state, and every single fault."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from seqsim.circuit import Circuit, state_gates
from seqsim.faults import single_faults
from seqsim.network import Network, Variant, vary
from seqsim.solver import Levels, solve, static_gates
from seqsim.solver.batch import Bench, bench

FOLDER = Path(__file__).parents[2] / "circuits"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.yaml") if not path.name.endswith(".readings.yaml")))


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


def faulted(circuit: Circuit, network: Network, *, ends: bool) -> tuple[list[str], list[Variant]]:
    """Return every single fault at its middle severity, with ``ends`` also at both ends: names and variants."""
    names, variants = [], []
    for fault in single_faults(circuit):
        if fault.severity is None:
            severities = [1.0]
        else:
            severities = [float(fault.severity.points(1)[0])]
            severities += [fault.severity.low, fault.severity.high] if ends else []
        for severity in severities:
            names.append(f"{fault.name} at {severity:.3g}")
            variants.append(vary(network, fault.patches(severity)))
    return names, variants
