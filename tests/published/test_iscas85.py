"""The smallest benchmark of ISCAS-85, c17: six NAND gates and all stuck-at faults of its lines.

The netlist and the count of 22 classes were seen in public copies; test sets and counts of detected faults are
recomputed by enumeration with truth tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from gated import Gated

from seqsim.network import Bridge, Patch, SetSide
from seqsim.network.network import Bools

C17 = Gated(
    ("N1", "N2", "N3", "N6", "N7"),
    {
        "N10": ("nand", "N1", "N3"),
        "N11": ("nand", "N3", "N6"),
        "N16": ("nand", "N2", "N11"),
        "N19": ("nand", "N11", "N7"),
        "N22": ("nand", "N10", "N16"),
        "N23": ("nand", "N16", "N19"),
    },
)
OUTPUTS = ("N22", "N23")
SET_A = ("00100", "01100", "10011", "11111")
SET_B = ("01111", "10010", "10101", "11010")
STIFF = 1e3
"""Conductance (S) that holds a stuck net against whatever drives it."""


def readers(net: str) -> list[tuple[str, str]]:
    """Return gate and input pin of each reader of a net."""
    return [
        (f"U{output}", pin)
        for output, (_, a, b) in C17.gates.items()
        for pin, source in (("A", a), ("B", b))
        if source == net
    ]


def lines() -> list[tuple[str, str | None]]:
    """Return the 17 lines: each net, and each branch of a net that has several readers (by gate and pin)."""
    found: list[tuple[str, str | None]] = []
    for net in (*C17.inputs, *C17.gates):
        found.append((net, None))
        branches = readers(net)
        if len(branches) > 1:
            found += branches
    return found


def stuck(line: tuple[str, str | None], *, high: bool) -> tuple[Patch, ...]:
    """Return the patches of a line stuck at one: a net at the supply or ground, a branch at the pin that it feeds."""
    place, pin = line
    if pin is None:
        return (Bridge(place, "VCC" if high else "GND", STIFF),)
    return (SetSide(place, pin, above=high),)


FAULTS = [(line, high) for line in lines() for high in (False, True)]


@cache
def responses() -> tuple[Bools, Bools]:
    """Return the outputs for all 32 inputs: healthy (32, 2), and of each fault (34, 32, 2)."""
    patterns = C17.patterns()
    healthy = C17.outputs(OUTPUTS, patterns)
    return healthy, np.array([C17.outputs(OUTPUTS, patterns, stuck(line, high=high)) for line, high in FAULTS])


def detected() -> Bools:
    """Return which fault shows at which input pattern, shape (34, 32)."""
    healthy, faulty = responses()
    return np.asarray((faulty != healthy).any(axis=2))


def columns(vectors: Sequence[str]) -> list[int]:
    return [int(vector, 2) for vector in vectors]


def test_the_healthy_circuit() -> None:
    """Both outputs follow the netlist for all 32 inputs."""
    healthy, _ = responses()
    for (n1, n2, n3, n6, n7), found in zip(C17.patterns(), healthy, strict=True):
        n11 = not (n3 and n6)
        n16 = not (n2 and n11)
        assert tuple(found) == (not (not (n1 and n3) and n16), not (n16 and not (n11 and n7)))


def test_faults_and_classes() -> None:
    """17 lines have 34 stuck-at faults in 22 classes of equal responses, and every one of them can be detected."""
    _, faulty = responses()
    assert len(FAULTS) == 34
    assert len({fault.tobytes() for fault in faulty}) == 22
    assert detected().any(axis=1).all()


@pytest.mark.parametrize(("vectors", "outputs"), [(SET_A, ("00", "11", "01", "10")), (SET_B, ("00", "00", "11", "11"))])
def test_four_vectors_find_every_fault(vectors: Sequence[str], outputs: Sequence[str]) -> None:
    """Healthy outputs (22, 23) of each vector (inputs 1, 2, 3, 6, 7); together they show all 34 faults."""
    healthy, _ = responses()
    chosen = columns(vectors)
    assert ["".join(str(int(bit)) for bit in healthy[k]) for k in chosen] == list(outputs)
    assert detected()[:, chosen].any(axis=1).all()


def test_faults_that_each_vector_finds() -> None:
    """The vectors of the first set show 10, 9, 13 and 14 faults."""
    assert detected()[:, columns(SET_A)].sum(axis=0).tolist() == [10, 9, 13, 14]


def test_no_smaller_test_exists() -> None:
    """Three vectors never suffice; ten sets of four do, and both published sets are among them."""
    shows = detected()
    sizes = {size: [c for c in combinations(range(32), size) if shows[:, c].any(axis=1).all()] for size in (3, 4)}
    assert not sizes[3]
    assert len(sizes[4]) == 10
    assert {tuple(sorted(columns(vectors))) for vectors in (SET_A, SET_B)} <= set(sizes[4])
