"""Reiter, "A theory of diagnosis from first principles", *Artificial Intelligence* 32 (1987): the full adder.

Circuit, observation and diagnoses are from memory, not checked against the text, and recomputed by enumeration.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from gated import Gated

ADDER = Gated(
    ("a", "b", "c"),
    {
        "X1": ("xor", "a", "b"),
        "X2": ("xor", "X1", "c"),
        "A1": ("and", "a", "b"),
        "A2": ("and", "X1", "c"),
        "O1": ("or", "A1", "A2"),
    },
)
SUM_AND_CARRY = ("X2", "O1")
INPUTS = (True, False, True)
OBSERVED = (True, False)


def consistent(abnormal: tuple[str, ...]) -> bool:
    """Tell whether some outputs of the abnormal gates, whatever they are, give what was observed."""
    for outputs in product((False, True), repeat=len(abnormal)):
        forced = zip(abnormal, outputs, strict=True)
        patches = [patch for gate, high in forced for patch in ADDER.stuck(gate, high=high)]
        if tuple(ADDER.outputs(SUM_AND_CARRY, [INPUTS], patches)[0]) == OBSERVED:
            return True
    return False


def test_the_adder_adds() -> None:
    """Sum and carry of all eight inputs, and 0 and 1 for the inputs of the example, against 1 and 0 observed."""
    for pattern in ADDER.patterns():
        sum_, carry = ADDER.outputs(SUM_AND_CARRY, [pattern])[0]
        assert 2 * carry + sum_ == sum(pattern)
    assert tuple(ADDER.outputs(SUM_AND_CARRY, [INPUTS])[0]) == (False, True)
    assert not consistent(())


def test_x1_is_the_only_single_diagnosis() -> None:
    """Forced to the other value, only X1 gives the observation."""
    assert [gate for gate in ADDER.gates if consistent((gate,))] == ["X1"]


def test_minimal_diagnoses() -> None:
    """The minimal diagnoses are {X1}, {X2, O1} and {X2, A2}."""
    found: list[set[str]] = []
    for size in range(1, len(ADDER.gates) + 1):
        for abnormal in combinations(ADDER.gates, size):
            if not any(smaller <= set(abnormal) for smaller in found) and consistent(abnormal):
                found.append(set(abnormal))
    assert found == [{"X1"}, {"X2", "A2"}, {"X2", "O1"}]


@pytest.mark.parametrize("conflict", [{"X1", "X2"}, {"X1", "A2", "O1"}])
def test_minimal_conflicts(conflict: set[str]) -> None:
    """{X1, X2} and {X1, A2, O1} cannot all be well, whatever the others do; without any one of them they can."""
    others = tuple(gate for gate in ADDER.gates if gate not in conflict)
    assert not consistent(others)
    for gate in conflict:
        assert consistent((*others, gate))
