"""Malvino and Bates, *Electronic Principles*: the stage with voltage-divider bias and its table of troubles.

The healthy circuit was read at the author's own site (worked solution "biasans2"). The book's table, from the chapter
on troubleshooting bias circuits, is from memory, not checked against the text. The second column of volts is
recomputed: SPICE runs with a meter of 10 MΩ on the probed node only; the transistor below has that run's values.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from ranked import HEALTHY, ranked
from worked import Worked

from seqsim.faults import find_fault
from seqsim.network import Bridge

SUPPLIES = {"VCC": 10.0}
PARTS = """
R1: {kind: resistor, ohms: 10k, pins: [VCC, B]}
R2: {kind: resistor, ohms: 2k2, pins: [B, GND]}
RC: {kind: resistor, ohms: 3k6, pins: [VCC, C]}
RE: {kind: resistor, ohms: 1k, pins: [E, GND]}
Q1: {kind: npn, gain: 100, reverse_gain: 2, saturation_amps: 1e-14, base_series_ohms: 0, pins: {B: B, C: C, E: E}}
"""
NODES = ("B", "E", "C")
SHORT_OHMS = 0.1


@dataclass(frozen=True)
class Trouble:
    """A row of the table: the fault, and volts at base, emitter and collector by the book and recomputed."""

    fault: str
    book: tuple[float, float, float]
    recomputed: tuple[float, float, float]


TABLE = {
    "none": Trouble("", (1.8, 1.1, 6.0), (1.783, 1.125, 5.987)),
    "R1 short": Trouble("R1:short", (10.0, 9.3, 9.4), (10.0, 9.260, 9.269)),
    "R1 open": Trouble("R1:open", (0.0, 0.0, 10.0), (0.0, 0.0, 9.996)),
    "R2 short": Trouble("R2:short", (0.0, 0.0, 10.0), (0.0, 0.0, 9.996)),
    "R2 open": Trouble("R2:open", (3.38, 2.68, 2.73), (3.376, 2.686, 2.715)),
    "RE short": Trouble("RE:short", (0.71, 0.0, 0.06), (0.694, 0.0, 0.035)),
    "RE open": Trouble("RE:open", (1.8, 1.37, 10.0), (1.803, 1.378, 9.996)),
    "RC short": Trouble("RC:short", (1.79, 1.1, 10.0), (1.783, 1.125, 10.0)),
    "RC open": Trouble("RC:open", (1.07, 0.4, 0.43), (1.067, 0.408, 0.418)),
    "all terminals shorted": Trouble("Q1:all shorted", (2.06, 2.06, 2.06), (2.062, 2.062, 2.062)),
    "all terminals open": Trouble("Q1:missing", (1.8, 0.0, 10.0), (1.803, 0.0, 9.996)),
    "no supply": Trouble("VCC:absent", (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)),
}


@pytest.fixture(scope="module")
def stage() -> Worked:
    return Worked(SUPPLIES, PARTS)


@pytest.mark.parametrize("name", TABLE)
def test_each_row_of_the_table(stage: Worked, name: str) -> None:
    """Each node reads within 0.15 V of the recomputed value and 0.2 V of the book's (from memory)."""
    row = TABLE[name]
    shorted = SHORT_OHMS if "short" in row.fault else None
    patches = stage.fault(row.fault, shorted) if row.fault else ()
    shown = [stage.shown(f"{node} 0", patches) for node in NODES]
    assert shown == pytest.approx(row.recomputed, abs=0.15)
    assert shown == pytest.approx(row.book, abs=0.2)


ALIKE = {"R1:open": {"R1:open", "R2:short"}, "R2:short": {"R1:open", "R2:short"}}
"""Troubles with the same row in the table: by its volts alone either may stand first."""


@pytest.mark.parametrize("column", ["book", "recomputed"])
@pytest.mark.parametrize("name", TABLE)
def test_three_readings_point_to_the_trouble(stage: Worked, name: str, column: str) -> None:
    """The three volts of each row rank the row's group of faults first, by both columns.

    An open R1 and a shorted R2 have the same row: one of the two stands first, and the other is next to it or in it.
    """
    row = TABLE[name]
    volts = row.book if column == "book" else row.recomputed
    found = ranked(stage, [f"{node} {read}" for node, read in zip(NODES, volts, strict=True)])
    fault = find_fault(stage.circuit, row.fault)[0].name if row.fault else HEALTHY
    right = ALIKE.get(fault, {fault})
    assert right & found.first().keys()
    assert {found.group_of(each) for each in right} <= set(found.order()[:2])


def test_a_power_off_reading_parts_what_the_table_leaves_alike(stage: Worked) -> None:
    """R2 measured in the circuit with power off tells a shorted R2 (nearly 0 Ω) from an open R1 (2.2 kΩ)."""
    volts = ["B 0", "E 0", "C 10"]
    assert "R2:short" in ranked(stage, [*volts, "B 0.3 ohm"]).first()
    assert "R1:open" in ranked(stage, [*volts, "B 2.2k ohm"]).first()


def test_the_open_emitter_reads_nothing_real(stage: Worked) -> None:
    """The 1.37 V of "RE open" are the meter's: one of 1 MΩ reads VT·ln 10 or 60 mV less (recomputed)."""
    patches = stage.fault("RE:open")
    heavier = stage.solve(*patches, Bridge("E", "GND", 1e-6)).at("E")
    assert stage.shown("E 0", patches) - heavier == pytest.approx(0.06, abs=0.04)
    assert stage.shown("C 0", patches) == pytest.approx(10.0, abs=0.01)


def test_collector_to_emitter_short_is_another_fault(stage: Worked) -> None:
    """Collector and emitter alone shorted give 1.80, 2.17, 2.17 V, unlike all three shorted (recomputed)."""
    patches = stage.fault("Q1:C-E short", SHORT_OHMS)
    assert [stage.shown(f"{node} 0", patches) for node in NODES] == pytest.approx([1.803, 2.174, 2.174], abs=0.02)


def test_ends_of_a_load_line() -> None:
    """9 V and 3 kΩ: 3 mA in saturation, 9 V at cut-off (companion code to the book: FOSSEE 317, example 7.2, seen)."""
    parts = """
    RC: {kind: resistor, ohms: 3k, pins: [VCC, C]}
    RB: {kind: resistor, ohms: 30k, pins: [DRIVE, B]}
    Q1: {kind: npn, pins: {B: B, C: C, E: GND}}
    """
    saturated, cut_off = (Worked({"VCC": 9.0, "DRIVE": drive}, parts) for drive in (9.0, 0.0))
    assert saturated.amps("Q1.C") == pytest.approx(3e-3, rel=0.05)
    assert cut_off.volts("C") == pytest.approx(9.0, abs=0.01)
