"""Kuphaldt, *Lessons in Electric Circuits*, volumes I and III.

The questions and emitter currents were seen in the book's sources (s_p.sml, bjt.sml); base resistors are partly
inferred from them. All recomputed as IE = (VBB - 0.7 V)/(RB/β + RE).
"""

from __future__ import annotations

import pytest
from textbook import Example, bipolar, resistors
from worked import Worked

BIAS = {
    "base bias": ("910k", None, 10.0, 1.02, 3.07),
    "emitter bias, 10 V": ("870k", "470", 10.0, 1.01, 2.76),
    "emitter bias, 2 V": ("82k", "470", 2.0, 1.01, 1.75),
    "emitter bias, 2 V and 910 Ω": ("39k", "910", 2.0, 1.00, 1.25),
    "emitter bias, 1.5 V": ("33k", "470", 1.5, 1.00, 1.38),
}


@pytest.mark.parametrize("gain", [100, 300])
@pytest.mark.parametrize("name", BIAS)
def test_bias_circuits(name: str, gain: int) -> None:
    """Emitter current (mA) at gains of 100 and 300; 1 kΩ in the collector keeps the transistor out of saturation."""
    base_ohms, emitter_ohms, volts, at_100, at_300 = BIAS[name]
    parts = resistors(RB=(base_ohms, "VBB", "B"), RC=("1k", "VCC", "C"))
    if emitter_ohms is None:
        parts += bipolar("npn", gain, emitter="GND")
    else:
        parts += bipolar("npn", gain) + resistors(RE=(emitter_ohms, "E", "GND"))
    milliamps = at_100 if gain == 100 else at_300
    Example({"VCC": 10, "VBB": volts}, parts, {}, {"Q1.E": -milliamps}, share=0.05 if volts < 2 else 0.03).check()


@pytest.mark.parametrize(("gain", "milliamps"), [(100, 0.989), (300, 1.48)])
def test_collector_feedback_bias(gain: int, milliamps: float) -> None:
    """470 kΩ from collector to base and 4.7 kΩ in the collector, on 10 V."""
    parts = bipolar("npn", gain, emitter="GND") + resistors(RB=("470k", "C", "B"), RC=("4k7", "VCC", "C"))
    Example({"VCC": 10}, parts, {}, {"Q1.E": -milliamps}).check()


def test_a_divider_sags_once_the_base_loads_it() -> None:
    """8466 Ω and 1533 Ω on 15 V make 2.3 V alone, and less with a base on them."""
    halves = resistors(R1=("8466", "VCC", "B"), R2=("1533", "B", "GND"))
    loaded = halves + bipolar("npn", 100) + resistors(RC=("1k", "VCC", "C"), RE=("470", "E", "GND"))
    alone, sagging = (Worked({"VCC": 15}, parts).volts("B") for parts in (halves, loaded))
    assert alone == pytest.approx(2.3, abs=0.005)
    assert 2.1 < sagging < alone - 0.01


def test_a_diode_check_tells_the_emitter() -> None:
    """A meter's diode check reads 0.655 V base to emitter and 0.621 V base to collector: the higher is the emitter."""
    loose = Worked(
        {"VCC": 5},
        bipolar("npn", 200)
        + resistors(R1=("1k", "VCC", "GND"), R2=("10M", "B", "GND"), R3=("10M", "C", "GND"), R4=("10M", "E", "GND")),
    )
    emitter, collector = (loose.shown(f"Q1.B to Q1.{pin} diode 0.6") for pin in "EC")
    assert 0.005 < emitter - collector < 0.06
    assert emitter == pytest.approx(0.655, abs=0.1)
    assert collector == pytest.approx(0.621, abs=0.1)


def test_a_short_in_one_parallel_pair() -> None:
    """R2 of (R1 ∥ R2) + (R3 ∥ R4) shorted: the signs of all changes (qualitative analysis, volume I)."""
    circuit = Worked(
        {"VT": 9},
        resistors(R1=("1k", "VT", "M"), R2=("2k2", "VT", "M"), R3=("1k5", "M", "GND"), R4=("3k3", "M", "GND")),
    )
    shorted = circuit.solve(*circuit.fault("R2:short", 0.1))
    before, after = circuit.volts("M"), shorted.at("M")
    current = {state: volts / 1500 + volts / 3300 for state, volts in (("before", before), ("after", after))}
    upper = {"before": circuit.volts("VT") - before, "after": shorted.at("VT") - after}
    assert current["after"] > current["before"]
    assert after > before
    assert upper["after"] < upper["before"]
    assert upper["after"] / 1000 < upper["before"] / 1000
    assert current["after"] - upper["after"] / 1000 > current["before"] - upper["before"] / 1000
