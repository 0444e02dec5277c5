"""What every bench technician knows: common practice, without a text to cite."""

from __future__ import annotations

import pytest
from textbook import resistors
from worked import Worked


@pytest.mark.parametrize(("kind", "least", "most"), [("silicon", 0.4, 0.75), ("schottky", 0.15, 0.4)])
@pytest.mark.parametrize("low", [0.0, 0.1, 0.3])
def test_a_wired_and_node_held_low(kind: str, least: float, most: float, low: float) -> None:
    """A diode wired-AND node held low sits one diode drop above the low cathode; all high, it goes to its pull-up."""

    def node(cathode: float) -> float:
        parts = resistors(RP=("10k", "V5", "NODE"), RL=("1M", "NODE", "GND"))
        parts += f"D1: {{kind: diode, type: {kind}, pins: [NODE, A]}}\n"
        parts += f"D2: {{kind: diode, type: {kind}, pins: [NODE, HIGH]}}\n"
        return Worked({"V5": 5, "A": cathode, "HIGH": 5}, parts).volts("NODE")

    assert least < node(low) - low < most
    assert node(5.0) > 4.9


@pytest.mark.parametrize("kind", ["npn", "pnp"])
@pytest.mark.parametrize("milliamps", [0.5, 2, 10, 50])
@pytest.mark.parametrize("forced_gain", [10, 20])
def test_a_saturated_switch(kind: str, milliamps: float, forced_gain: float) -> None:
    """A small transistor driven with a tenth or a twentieth of its collector current leaves 0.02 to 0.2 V."""
    rail = 12.0 if kind == "npn" else -12.0
    collector = (abs(rail) - 0.1) / milliamps * 1e3
    base = (abs(rail) - 0.7) / milliamps * forced_gain * 1e3
    switch = Worked(
        {"RAIL": rail},
        resistors(RC=(repr(collector), "RAIL", "C"), RB=(repr(base), "RAIL", "B"))
        + f"Q1: {{kind: {kind}, pins: {{B: B, C: C, E: GND}}}}",
    )
    assert 0.02 <= abs(switch.volts("C")) <= 0.2


def test_a_meter_on_an_open_emitter() -> None:
    """A meter on an emitter whose joint is open reads a phantom, half a volt below the base; the copper reads zero."""
    stage = Worked(
        {"VCC": 12},
        resistors(R1=("47k", "VCC", "B"), R2=("10k", "B", "GND"), RC=("2k2", "VCC", "C"), RE=("680", "E", "GND"))
        + "Q1: {kind: npn, pins: {B: B, C: C, E: E}}",
    )
    opened = stage.fault("Q1.E:joint open")
    base, phantom = stage.shown("B 0", opened), stage.shown("Q1.E 0", opened)
    assert phantom > 1.0
    assert 0.3 < base - phantom < 0.65
    assert stage.shown("Q1.E/pad 0", opened) == pytest.approx(0.0, abs=1e-3)
    assert stage.shown("C 0", opened) == pytest.approx(12.0, abs=0.02)


def test_a_pass_transistor_needs_a_high_gate_rail() -> None:
    """An N-channel pass transistor hands 5 V on whole only with its gate several volts above; level with it, it stops.

    With gate and drain both at 5 V the output stays about a threshold below; a rail of 12 V brings all of it.
    """

    def passed(gate: float) -> float:
        parts = "M1: {kind: nmos, model: nmos-logic, pins: {G: GATE, D: IN, S: OUT}}\n"
        return Worked({"IN": 5, "GATE": gate}, parts + resistors(RL=("100", "OUT", "GND"))).volts("OUT")

    level, some, high = passed(5.0), passed(6.0), passed(12.0)
    assert 3.3 < level < 4.3
    assert level < some < high
    assert high == pytest.approx(5.0, abs=0.02)
