"""Reiter, "A theory of diagnosis from first principles", *Artificial Intelligence* 32 (1987): the full adder.

Circuit, observation and diagnoses are from memory, not checked against the text, and recomputed by enumeration.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from gated import Gated

from seqsim.circuit import parse_circuit
from seqsim.diagnosis import rank
from seqsim.readings import Readings, parse_reading

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


BOARD = parse_circuit(
    "\n".join(
        [
            "format: 1",
            "supplies:",
            "  VCC: {volts: 3.3}",
            *(f"  {net}: {{volts: 3.3, ohms: 100, idle: low}}" for net in "abc"),
            "power_states: {one_zero_one: {on: [VCC, a, c]}}",
            "parts:",
            *(
                f"  U{net}: {{kind: {kind}, pins: {{A: {a}, B: {b}, Y: {net}, VCC: VCC, GND: GND}}}}"
                for net, (kind, a, b) in ADDER.gates.items()
            ),
            "",
        ]
    ),
    "adder.yaml",
)
"""The adder with its inputs 1, 0, 1."""
AS_GIVEN = ("VCC 3.3", "a 3.3", "b 0.0", "c 3.3")
"""The paper takes inputs and supply for granted; a board wants them read."""
PAIRS = {frozenset({"X2", "O1"}), frozenset({"X2", "A2"})}


def explanations(*texts: str, several: float = 1.0) -> list[frozenset[str]]:
    """Return the gates of each set of faults of outputs that explains all readings, the likeliest first.

    In the paper a gate that is abnormal changes its output; an input that drags its net down has no place there.
    """
    readings = Readings(readings=tuple(parse_reading(BOARD, text) for text in (*texts, *AS_GIVEN)))
    found: dict[frozenset[str], None] = {}
    for each in rank(BOARD, readings, factors={"several": several}).hypotheses:
        gates = [name.partition(":")[0].removeprefix("U") for name in each.faults if ":Y " in name]
        if (
            gates
            and len(gates) == len(each.faults)
            and each.probability > 1e-9
            and each.readings_explained == each.readings_total
        ):
            found[frozenset(gates)] = None
    return list(found)


def test_diagnoses_of_the_adder_as_a_board() -> None:
    """Sum 1 and carry 0, as volts on a board of five gates: the gates of the three minimal diagnoses, X1 first."""
    found = explanations("X2 3.3", "O1 0.0", several=10.0)
    assert found[0] == {"X1"}
    assert {frozenset(gates) for gates in found} == {
        frozenset({"X1"}),
        frozenset({"X2", "O1"}),
        frozenset({"X2", "A2"}),
    }


def test_diagnoses_once_x1_is_cleared() -> None:
    """With the output of X1 read as it should be, no single gate explains the rest: the two pairs are left."""
    found = explanations("X2 3.3", "O1 0.0", "X1 3.3")
    assert found
    assert set(found) == PAIRS
