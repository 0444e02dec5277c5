"""Examples seen in the FOSSEE companion code to textbooks (Scilab), by the number of the book in that collection.

All recomputed with VBE = 0.7 V, or with the square law ID = K·(VGS − Vt)².
"""

from __future__ import annotations

import pytest
from textbook import Example, bipolar, resistors, square_law


def four_resistors(low: str, volts: dict[str, float], milliamps: dict[str, float], **supplies: float) -> Example:
    """Return the MOSFET stage of book 2342, chapter 5; K = 0.5 mA/V² is k = 1 mA/V²."""
    parts = square_law("1m", "1V") + resistors(
        R1=("60k", "VDD", "G"), R2=("40k", "G", low), RD=("2k", "VDD", "D"), RS=("1k", "S", low)
    )
    # square laws between four points: up to 5 % of the current in between
    return Example(supplies, parts, volts, milliamps, within=0.06, share=0.05)


EXAMPLES = {
    "135, example 4.2": Example(
        {"VCC": 10, "B": 4},
        bipolar("npn", 100) + resistors(RE=("3k3", "E", "GND"), RC=("5k", "VCC", "C")),
        {"C": 5.05},
        {"Q1.C": 0.99},
    ),
    "135, example 5.8": Example(
        {"VCC": -18},
        bipolar("pnp", 120)
        + resistors(R1=("47k", "VCC", "B"), R2=("10k", "B", "GND"), RC=("2k4", "VCC", "C"), RE=("1k1", "E", "GND")),
        {"C to E": -10.68},
        {"Q1.B": -0.0174, "Q1.C": -2.09},
    ),
    "2882, example 5.5": Example(
        {"VCC": 20},
        bipolar("npn", 100, milliamps=1.32)
        + resistors(R1=("22k", "VCC", "B"), R2=("2k2", "B", "GND"), RC=("10k", "VCC", "C"), RE=("820", "E", "GND")),
        {"C to E": 5.74},
        {"Q1.B": 0.0132, "Q1.C": 1.32},
        within=0.13,  # 1 % of the current across 10 kΩ and 820 Ω
    ),
    "2342, example 5.26": four_resistors("GND", {"G to S": 1.732, "D to S": 4.196}, {"M1.D": 0.268}, VDD=5),
    "2342, example 5.24": four_resistors("VSS", {"G to S": 2.646, "D to S": 5.937}, {"M1.D": 1.354}, VDD=5, VSS=-5),
}


@pytest.mark.parametrize("number", EXAMPLES)
def test_examples(number: str) -> None:
    """Volts and currents of the example."""
    EXAMPLES[number].check()


def switch(ohms: str) -> Example:
    """Return the switch of book 135, example 4.5: 1 kΩ on 10 V, driven from 5 V, gain 50."""
    parts = bipolar("npn", 50, emitter="GND") + resistors(RB=(ohms, "VBB", "B"), RC=("1k", "VCC", "C"))
    return Example({"VCC": 10, "VBB": 5}, parts)


def test_sizing_a_base_resistor() -> None:
    """9.8 mA need at least 196 µA of base current; ten times that is 2.14 kΩ (135, example 4.5)."""
    overdriven = switch("2.14k").check()
    assert overdriven.amps("Q1.C") == pytest.approx(9.8e-3, rel=0.15)
    assert overdriven.amps("Q1.B") == pytest.approx(10 * 196e-6, rel=0.15)
    assert 0 < overdriven.volts("C") < 0.2
    at_the_edge, starved = switch("21.4k").check(), switch("43k").check()
    assert at_the_edge.amps("Q1.B") == pytest.approx(196e-6, rel=0.15)
    assert at_the_edge.volts("C") == pytest.approx(0.2, abs=0.25)
    assert starved.volts("C") > 4
