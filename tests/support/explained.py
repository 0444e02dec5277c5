"""Explanations of the library's boards, healthy and broken."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from shelf import LARGE_PARTS

from seqsim.circuit import Circuit, find_circuit, library, read_circuit
from seqsim.errors import NoSteadyLevelError
from seqsim.faults import middle, single_faults
from seqsim.logic import Explanation, Reference, explain

NAMES = tuple(library())
LARGE_SOME = 3
"""Faults of a large board that are explained where a share is asked for: its chains are long."""


@cache
def board(name: str) -> tuple[Circuit, Reference]:
    """Return a circuit of the library with its healthy levels."""
    circuit = read_circuit(find_circuit(name))
    return circuit, Reference.of(circuit)


@cache
def healthy(name: str) -> tuple[Explanation, ...]:
    """Return why the target of a healthy board is as it is, in each power state."""
    circuit, reference = board(name)
    return tuple(explain(name, circuit, None, state, reference=reference) for state in circuit.power_states)


def broken(name: str, most: int | None = None) -> Iterator[Explanation]:
    """Yield why the target is as it is with single faults, in the last power state: all, or about ``most`` of them."""
    circuit, reference = board(name)
    faults = single_faults(circuit)
    most = LARGE_SOME if most is not None and len(circuit.parts) > LARGE_PARTS else most
    for fault in faults[:: 1 if most is None else max(1, len(faults) // most)]:
        patches = fault.patches(middle(fault.severity))
        try:
            yield explain(name, circuit, None, None, [(fault.name, patches)], reference=reference)
        except NoSteadyLevelError:
            continue
