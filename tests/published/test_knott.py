"""Knott, fault-finding notes on a 9 V stage with R1 and R2 at the base, R3 in the collector, R4 in the emitter.

The answers were seen in part; values of the parts are not in what was seen, so they are our own.
"""

from __future__ import annotations

import pytest
from ranked import ranked
from worked import Worked

from seqsim.network import Bridge

STAGE = Worked(
    {"VCC": 9.0},
    """
    R1: {kind: resistor, ohms: 47k, pins: [VCC, B]}
    R2: {kind: resistor, ohms: 10k, pins: [B, GND]}
    R3: {kind: resistor, ohms: 4k7, pins: [VCC, C]}
    R4: {kind: resistor, ohms: 1k, pins: [E, GND]}
    Q1: {kind: npn, pins: {B: B, C: C, E: E}}
    """,
)


def read(fault: str) -> tuple[float, float, float]:
    """Return what a meter shows at base, emitter and collector."""
    patches = STAGE.fault(fault) if fault else ()
    base, emitter, collector = (STAGE.shown(f"{node} 0", patches) for node in "BEC")
    return base, emitter, collector


@pytest.mark.parametrize("fault", ["R1:open", "R2:open", "R3:open", "R4:open"])
def test_diagnosis(fault: str) -> None:
    """What each open resistor reads, to a hundredth of a volt, ranks that resistor first."""
    readings = [f"{node} {volts:.2f}" for node, volts in zip("BEC", read(fault), strict=True)]
    assert fault in ranked(STAGE, readings).first()


def test_r1_open() -> None:
    """R1 open: base and emitter at zero, collector at 9 V."""
    assert read("R1:open") == pytest.approx((0.0, 0.0, 9.0), abs=0.02)


def test_r2_open() -> None:
    """R2 open: heavy conduction, the collector low, the emitter high."""
    healthy, broken = read(""), read("R2:open")
    assert broken[2] < healthy[2] - 1
    assert broken[1] > healthy[1] + 0.5
    assert broken[2] - broken[1] < 0.2


def test_r3_open() -> None:
    """R3 open: the base falls to about 0.7 V, the emitter to about 0.1 V, the meter's collector lies near the latter.

    The emitter current is all base current then. The notes give the collector as base less about 0.6 V.
    """
    base, emitter, collector = read("R3:open")
    assert base < read("")[0] - 0.3
    assert base == pytest.approx(0.7, abs=0.15)
    assert emitter == pytest.approx(0.1, abs=0.05)
    assert base - collector == pytest.approx(0.6, abs=0.1)


def test_r4_open() -> None:
    """R4 open: collector at 9 V, base a little up; the emitter is the meter's, so one of 1 MΩ reads less."""
    healthy, (base, emitter, collector) = read(""), read("R4:open")
    assert collector == pytest.approx(9.0, abs=0.02)
    assert healthy[0] <= base < healthy[0] + 0.2
    assert 0.2 < emitter < base
    assert STAGE.solve(*STAGE.fault("R4:open"), Bridge("E", "GND", 1e-6)).at("E") < emitter - 0.03
