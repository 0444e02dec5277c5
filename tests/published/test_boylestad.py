"""Boylestad and Nashelsky, *Electronic Devices and Circuit Theory*: bias examples.

From memory, not checked against the text; all recomputed with VBE = 0.7 V.
"""

from __future__ import annotations

import pytest
from textbook import Example, bipolar, resistors


def divider(gain: float, base_milliamps: float, collector_milliamps: float, across: float) -> Example:
    """Return the divider-bias stage on 22 V."""
    parts = bipolar("npn", gain, milliamps=collector_milliamps) + resistors(
        R1=("39k", "VCC", "B"), R2=("3k9", "B", "GND"), RC=("10k", "VCC", "C"), RE=("1k5", "E", "GND")
    )
    return Example({"VCC": 22}, parts, {"C to E": across}, {"Q1.B": base_milliamps, "Q1.C": collector_milliamps})


EXAMPLES = {
    "4.1, fixed bias": Example(
        {"VCC": 12},
        bipolar("npn", 50, emitter="GND") + resistors(RB=("240k", "VCC", "B"), RC=("2k2", "VCC", "C")),
        {"C": 6.83, "B to C": -6.13},
        {"Q1.B": 0.04708, "Q1.C": 2.35},
    ),
    "4.4, emitter bias": Example(
        {"VCC": 20},
        bipolar("npn", 50) + resistors(RB=("430k", "VCC", "B"), RC=("2k", "VCC", "C"), RE=("1k", "E", "GND")),
        {"C": 15.98, "E": 2.01, "B": 2.71, "C to E": 13.97},
        {"Q1.B": 0.0401, "Q1.C": 2.01},
    ),
    "divider bias, gain 100": divider(100, 8.38e-3, 0.84, 12.34),
    "divider bias, gain 140": divider(140, 6.05e-3, 0.85, 12.2),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_bias_examples(name: str) -> None:
    """Volts and currents of the example."""
    EXAMPLES[name].check()


def test_approximate_method() -> None:
    """The divider taken as unloaded gives 0.867 mA and 12.03 V, near the 0.84 mA and 12.34 V of the whole method."""
    circuit = EXAMPLES["divider bias, gain 100"].check()
    assert circuit.amps("Q1.C") == pytest.approx(0.867e-3, rel=0.15)
    assert circuit.volts("C") - circuit.volts("E") == pytest.approx(12.03, abs=0.35)


def test_inverter() -> None:
    """10 V in and 10 mA out ask for 1 kΩ and 155 kΩ at a gain of 250; the standard 150 kΩ saturates."""

    def inverter(ohms: str, drive: float) -> Example:
        parts = bipolar("npn", 250, emitter="GND") + resistors(RB=(ohms, "VI", "B"), RC=("1k", "VCC", "C"))
        return Example({"VCC": 10, "VI": drive}, parts)

    for ohms in ("155k", "150k"):
        circuit = inverter(ohms, 10).check()
        assert circuit.amps("Q1.C") == pytest.approx(10e-3, rel=0.05)
        assert circuit.volts("C") < 0.25
    assert inverter("150k", 0).check().volts("C") == pytest.approx(10, abs=0.01)
