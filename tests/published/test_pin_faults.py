"""What makers say happens when a pin is open or at ground: failure-mode documents of Texas Instruments (seen)."""

from __future__ import annotations

import pytest
from textbook import resistors
from worked import Worked

from seqsim.network import Bridge, Patch

SUPERVISOR = Worked(
    {"V": 3.3, "RAIL": 3.3},
    """
    U1: {kind: supervisor, threshold: 2.93, output: open-drain, pins: {SENSE: S, OUT: RESET, MR: M, VCC: V, GND: GND}}
    """
    + resistors(RS=("100", "RAIL", "S"), RP=("10k", "V", "RESET"), RM=("1M", "M", "V")),
)


def grounded(net: str) -> tuple[Patch, ...]:
    return (Bridge(net, "GND", 10.0),)


@pytest.mark.parametrize(
    ("what", "patches"),
    [
        ("RESET at ground", grounded("RESET")),
        ("MR at ground", grounded("M")),
        ("SENSE at ground", grounded("S")),
        ("SENSE open", SUPERVISOR.fault("U1.SENSE:joint open")),
    ],
)
def test_faults_that_assert_a_supervisor(what: str, patches: tuple[Patch, ...]) -> None:
    """RESET is low with any of these (TPS3808E-Q1, SFFS768, tables 4-2 and 4-3)."""
    assert SUPERVISOR.volts("RESET") == pytest.approx(3.3, abs=0.01)
    assert SUPERVISOR.solve(*patches).at("RESET") < 0.1


def test_faults_that_leave_a_supervisor_as_it_was() -> None:
    """An open MR changes nothing; an open RESET no longer pulls, so the pull-up rules whatever SENSE says (SFFS768)."""
    opened = SUPERVISOR.fault("U1.MR:joint open")
    assert SUPERVISOR.solve(*opened).at("RESET") == pytest.approx(3.3, abs=0.01)
    loose = SUPERVISOR.fault("U1.OUT:joint open")
    assert SUPERVISOR.solve(*loose, *grounded("S")).at("RESET") == pytest.approx(3.3, abs=0.01)


def comparator(plus: float, minus: float) -> Worked:
    """Return an open-collector comparator with a pull-up and 10 kΩ to each input."""
    parts = "U1: {kind: comparator, pins: {INP: P, INN: N, OUT: OUT, VCC: V, GND: GND}}\n"
    return Worked(
        {"V": 5, "A": plus, "B": minus},
        parts + resistors(RA=("10k", "A", "P"), RB=("10k", "B", "N"), RO=("10k", "V", "OUT")),
    )


@pytest.mark.parametrize(
    ("net", "plus", "minus", "high"),
    [("OUT", 2, 1, False), ("P", 2, 1, False), ("N", 1, 2, True)],
)
def test_comparator_pins_at_ground(net: str, plus: float, minus: float, *, high: bool) -> None:
    """OUT at ground: low; IN+ at ground: low; IN− at ground: high (LM2903B-Q1, SLCA005A, table 1-6)."""
    circuit = comparator(plus, minus)
    assert (circuit.volts("OUT") > 4.9) != high
    assert (circuit.solve(*grounded(net)).at("OUT") > 4.9) == high


def test_an_open_comparator_output_cannot_drive() -> None:
    """OUT open: the pull-up rules, whatever the inputs say (SLCA005A, table 1-7)."""
    circuit = comparator(1, 2)
    assert circuit.volts("OUT") < 0.3
    assert circuit.solve(*circuit.fault("U1.OUT:joint open")).at("OUT") == pytest.approx(5.0, abs=0.01)
