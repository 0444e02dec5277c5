"""Mehta, *Principles of Electronics*, example 12.19: what each open or short of a divider-biased stage does.

The answers were seen in the companion code FOSSEE 2459 (chapter 12); they are words, so the values are our own.
"""

from __future__ import annotations

import pytest
from ranked import ranked
from worked import Worked

STAGE = Worked(
    {"VCC": 12.0},
    """
    R1: {kind: resistor, ohms: 47k, pins: [VCC, B]}
    R2: {kind: resistor, ohms: 10k, pins: [B, GND]}
    RC: {kind: resistor, ohms: 2k2, pins: [VCC, C]}
    RE: {kind: resistor, ohms: 680, pins: [E, GND]}
    Q1: {kind: npn, gain: 150, pins: {B: B, C: C, E: E}}
    """,
)


def read(fault: str, ohms: float | None = None) -> tuple[float, float, float]:
    """Return what a meter shows at base, emitter and collector."""
    patches = STAGE.fault(fault, ohms) if fault else ()
    base, emitter, collector = (STAGE.shown(f"{node} 0", patches) for node in "BEC")
    return base, emitter, collector


def test_the_healthy_stage_is_active() -> None:
    """Without a fault the stage is neither cut off nor saturated."""
    base, emitter, collector = read("")
    assert base - emitter == pytest.approx(0.65, abs=0.1)
    assert emitter + 1 < collector < 11


@pytest.mark.parametrize(
    ("fault", "answers"),
    [
        ("R1:open", {"R1:open"}),
        ("R2:open", {"R2:open"}),
        ("R1:short", {"R1:short"}),
        ("R2:short", {"R2:short", "R1:open"}),  # the same three volts
    ],
)
def test_diagnosis(fault: str, answers: set[str]) -> None:
    """What each fault reads, to a hundredth of a volt, ranks its group first."""
    volts = read(fault, 0.1 if fault.endswith("short") else None)
    found = ranked(STAGE, [f"{node} {shown:.2f}" for node, shown in zip("BEC", volts, strict=True)])
    assert answers & found.first().keys()


def test_r2_shorted_cuts_off() -> None:
    """R2 shorted: the base stands at zero and no collector current flows."""
    base, emitter, collector = read("R2:short", 0.1)
    assert base == pytest.approx(0.0, abs=0.01)
    assert emitter == pytest.approx(0.0, abs=0.01)
    assert collector == pytest.approx(12.0, abs=0.05)


def test_r1_open_cuts_off() -> None:
    """R1 open: no base current, so the collector stands at the supply."""
    base, _, collector = read("R1:open")
    assert base == pytest.approx(0.0, abs=0.01)
    assert collector == pytest.approx(12.0, abs=0.05)


def test_r2_open_leaves_little_between_collector_and_emitter() -> None:
    """R2 open: the base rises, and VCE becomes very low."""
    healthy, (base, emitter, collector) = read(""), read("R2:open")
    assert base > healthy[0] + 0.5
    assert collector - emitter < 0.3


def test_r1_shorted_saturates() -> None:
    """R1 shorted: the base stands at the supply, the emitter just below it, the transistor is saturated."""
    base, emitter, collector = read("R1:short", 0.1)
    assert base == pytest.approx(12.0, abs=0.05)
    assert 0.5 < base - emitter < 1.1
    assert collector - emitter < 0.3
