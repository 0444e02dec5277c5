"""Schultz, *Grob's Basic Electronics*, 11th edition: resistor circuits with one fault.

The problems were seen in the companion code FOSSEE 2240 (chapters 5 and 7); R3, R4 and the 36 V of the second circuit
are inferred from its answers. All answers are recomputed by Ohm's law.
"""

from __future__ import annotations

import pytest
from ranked import HEALTHY, ranked
from worked import Worked

SERIES = Worked(
    {"VT": 24.0},
    """
    R1: {kind: resistor, ohms: 150, pins: [VT, A]}
    R2: {kind: resistor, ohms: 120, pins: [A, B]}
    R3: {kind: resistor, ohms: 180, pins: [B, C]}
    R4: {kind: resistor, ohms: 150, pins: [C, GND]}
    """,
)
SERIES_PAIRS = ("VT to A", "A to B", "B to C", "C")
SERIES_PARALLEL = Worked(
    {"VT": 36.0},
    """
    R1: {kind: resistor, ohms: 120, pins: [VT, A]}
    R2: {kind: resistor, ohms: 100, pins: [A, B]}
    R3: {kind: resistor, ohms: 150, pins: [A, B]}
    R4: {kind: resistor, ohms: 180, pins: [B, GND]}
    """,
)
SERIES_PARALLEL_PAIRS = ("VT to A", "A to B", "B")


def drops(circuit: Worked, pairs: tuple[str, ...], fault: str, ohms: float | None = None) -> list[float]:
    patches = circuit.fault(fault, ohms) if fault else ()
    return [circuit.shown(f"{pair} 0", patches) for pair in pairs]


def test_four_resistors_in_series() -> None:
    """Example 4-6: 6, 4.8, 7.2 and 6 V when healthy; with R3 open all 24 V stand across R3."""
    assert drops(SERIES, SERIES_PAIRS, "") == pytest.approx([6.0, 4.8, 7.2, 6.0], abs=0.02)
    assert drops(SERIES, SERIES_PAIRS, "R3:open") == pytest.approx([0.0, 0.0, 24.0, 0.0], abs=0.02)


def read(pairs: tuple[str, ...], volts: tuple[float, ...]) -> list[str]:
    return [f"{pair} {value}" for pair, value in zip(pairs, volts, strict=True)]


@pytest.mark.parametrize(("volts", "answer"), [((0, 0, 24, 0), "R3:open"), ((6, 4.8, 7.2, 6), HEALTHY)])
def test_diagnosis_of_four_resistors(volts: tuple[float, ...], answer: str) -> None:
    """Example 4-6: 0, 0, 24 and 0 V say that R3 is open."""
    assert answer in ranked(SERIES, read(SERIES_PAIRS, volts)).first()


def test_diagnosis_of_an_open_branch() -> None:
    """Example 6-3: 10.8, 9 and 16.2 V say that R3 is open."""
    assert "R3:open" in ranked(SERIES_PARALLEL, read(SERIES_PARALLEL_PAIRS, (10.8, 9.0, 16.2))).first()


def test_diagnosis_of_a_shorted_branch() -> None:
    """Example 6-4: 14.4, 0 and 21.6 V leave two shorts, R2's and R3's, in one group and equally likely."""
    found = ranked(SERIES_PARALLEL, read(SERIES_PARALLEL_PAIRS, (14.4, 0.0, 21.6)))
    shorts = {fault: share for fault, share in found.first().items() if "short" in fault}
    assert shorts.keys() == {"R2:short", "R3:short"}
    assert shorts["R2:short"] == pytest.approx(shorts["R3:short"], rel=0.05)
    assert {fault.partition(":")[0] for fault in found.first()} == {"R2", "R3"}


def test_a_parallel_branch_that_opens() -> None:
    """Example 6-3: 12, 6 and 18 V when healthy; 10.8, 9 and 16.2 V with R3 open."""
    assert drops(SERIES_PARALLEL, SERIES_PARALLEL_PAIRS, "") == pytest.approx([12.0, 6.0, 18.0], abs=0.02)
    shown = drops(SERIES_PARALLEL, SERIES_PARALLEL_PAIRS, "R3:open")
    assert shown == pytest.approx([10.8, 9.0, 16.2], abs=0.02)


@pytest.mark.parametrize("which", ["R2", "R3"])
def test_a_parallel_branch_that_shorts(which: str) -> None:
    """Example 6-4: 14.4, 0 and 21.6 V, whichever of R2 and R3 is shorted: no voltage tells them apart."""
    shown = drops(SERIES_PARALLEL, SERIES_PARALLEL_PAIRS, f"{which}:short", 0.01)
    assert shown == pytest.approx([14.4, 0.0, 21.6], abs=0.02)


PARALLEL = Worked(
    {"VT": 12.0},
    """
    R1: {kind: resistor, ohms: 12, tolerance: 1%, pins: [VT, GND]}
    R2: {kind: resistor, ohms: 20, tolerance: 1%, pins: [VT, GND]}
    R3: {kind: resistor, ohms: 30, tolerance: 1%, pins: [VT, GND]}
    """,
)
"""Example 5-8 at a tenth of its currents, 2 A in all: volts and the first two branches (1 and 0.6 A) are ours."""


def test_a_parallel_circuit_by_its_total_current() -> None:
    """Example 5-8: 20 A in all when healthy, of which 4 A in branch 3; with that branch open 16 A are left."""
    assert PARALLEL.shown("VT 1A") == pytest.approx(2.0, abs=0.02)
    assert PARALLEL.shown("VT 1A", PARALLEL.fault("R3:open")) == pytest.approx(1.6, abs=0.02)


def test_diagnosis_of_an_open_branch_by_the_total_current() -> None:
    """Example 5-8: where 20 A are expected, 16 A say that the branch of 4 A is open; volts alone would not tell."""
    found = ranked(PARALLEL, ["VT 1.60A", "VT 12.0"])
    assert found.ranking.hypotheses[0].faults == ("R3:open",)
