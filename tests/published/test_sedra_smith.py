"""Sedra and Smith, *Microelectronic Circuits*, 5th edition: direct-current examples of chapters 4 and 5.

Figures are from memory, not checked against the text, unless an example says more; all were recomputed by the book's
own method (VBE = 0.7 V, VCE(sat) = 0.2 V; square law).
"""

from __future__ import annotations

import pytest
from textbook import Example, bipolar, resistors, square_law


def stage(
    base_volts: float, volts: dict[str, float], milliamps: dict[str, float], saturated: tuple[str, ...] = ()
) -> Example:
    """Return the circuit of examples 5.4 to 5.6: base held, 3.3 kΩ in the emitter, 4.7 kΩ in the collector."""
    parts = bipolar("npn", 100) + resistors(RE=("3k3", "E", "GND"), RC=("4k7", "VCC", "C"))
    return Example({"VCC": 10, "B": base_volts}, parts, volts, milliamps, saturated)


FOUR_RESISTORS = bipolar("npn", 100) + resistors(
    R1=("100k", "VCC", "B"), R2=("50k", "B", "GND"), RE=("3k", "E", "GND"), RC=("5k", "VCC", "C")
)
BIPOLAR = {
    # the same numbers were seen in the companion code FOSSEE 2093, example 3.11
    "5.4": stage(4, {"E": 3.3, "C": 5.3}, {"Q1.E": -1.0, "Q1.C": 0.99, "Q1.B": 0.0099}),
    "5.5": stage(6, {"E": 5.3, "C": 5.5}, {"Q1.E": -1.6, "Q1.C": 0.96, "Q1.B": 0.64}, saturated=("C",)),
    "5.6": stage(0, {"E": 0.0, "C": 10.0}, {}),
    "5.7": Example(
        {"VCC": 10, "VEE": -10},
        bipolar("pnp", 100, base="GND", milliamps=4.6) + resistors(RE=("2k", "VCC", "E"), RC=("1k", "C", "VEE")),
        {"E": 0.7, "C": -5.4},
        {"Q1.E": 4.65, "Q1.C": -4.60, "Q1.B": -0.046},  # the book rounds the last to 0.05
    ),
    "5.8": Example(
        {"VCC": 10, "VBB": 5},
        bipolar("npn", 100, emitter="GND", milliamps=4.3) + resistors(RB=("100k", "VBB", "B"), RC=("2k", "VCC", "C")),
        {"C": 1.4},
        {"Q1.B": 0.043, "Q1.C": 4.3},
    ),
    "5.9": Example(
        {"VCC": 5, "VEE": -5},
        bipolar("pnp", 100)
        + resistors(RE=("1k", "VCC", "E"), RB=("10k", "B", "GND"), RC=("10k", "C", "VEE")),
        {"B": 3.13, "E": 3.83, "C": 3.63},
        {"Q1.E": 1.18, "Q1.B": -0.31, "Q1.C": -0.86},
        saturated=("C",),
    ),
    "5.10": Example(
        {"VCC": 15}, FOUR_RESISTORS, {"B": 4.57, "E": 3.87, "C": 8.6}, {"Q1.B": 0.0128, "Q1.E": -1.29}
    ),
    "5.11": Example(
        {"VCC": 15},
        FOUR_RESISTORS
        + bipolar("pnp", 100, "C", "C2", "E2", name="Q2")
        + resistors(RE2=("2k", "VCC", "E2"), RC2=("2k7", "C2", "GND")),
        {"C": 8.74, "E2": 9.44, "C2": 7.43},
        {"Q2.E": 2.78},
    ),
}  # fmt: skip
MOSFET = {
    "4.5": Example(
        {"VDD": 10},
        square_law("1m", "1V")
        + resistors(RG1=("10M", "VDD", "G"), RG2=("10M", "G", "GND"), RD=("6k", "VDD", "D"), RS=("6k", "S", "GND")),
        {"G": 5.0, "S": 3.0, "D": 7.0},
        {"M1.D": 0.5},
    ),
    "triode, drain at 0.1 V": Example(
        {"VDD": 5},
        square_law("1m", "1V", gate="VDD", source="GND") + resistors(RD=("12.4k", "VDD", "D")),
        {"D": 0.1},
        {"M1.D": 0.395},
    ),
    "two supplies of 2.5 V": Example(
        {"VDD": 2.5, "VSS": -2.5},
        square_law("3.2m", "0.7V", gate="GND") + resistors(RD=("5k", "VDD", "D"), RS=("3.25k", "S", "VSS")),
        {"D": 0.5, "S": -1.2},
        {"M1.D": 0.4},
    ),
}


@pytest.mark.parametrize("number", BIPOLAR)
def test_bipolar_examples(number: str) -> None:
    """Volts and currents of the numbered example."""
    BIPOLAR[number].check()


@pytest.mark.parametrize("name", MOSFET)
def test_mosfet_examples(name: str) -> None:
    """Volts and currents of the example; where the book sizes a resistor, the circuit has that resistor."""
    MOSFET[name].check()


def test_forced_gains_in_saturation() -> None:
    """The collector carries 1.5 times the base current in example 5.5 and 2.8 times in 5.9, not a hundred times."""
    for number, forced in (("5.5", 1.5), ("5.9", 2.8)):
        circuit = BIPOLAR[number].check()
        assert circuit.amps("Q1.C") / circuit.amps("Q1.B") == pytest.approx(forced, rel=0.15)


def test_channel_resistance_in_triode() -> None:
    """VDS over ID is 253 Ω with 0.1 V across a channel of 1 mA/V² and 4 V of overdrive."""
    circuit = MOSFET["triode, drain at 0.1 V"].check()
    assert circuit.volts("D") / circuit.amps("M1.D") == pytest.approx(253, rel=0.15)
