"""Optocouplers and transistors with built-in resistors."""

from __future__ import annotations

import pytest
from bench import Bench
from single_part import NAME, currents, part, root

from seqsim.network import Turn
from seqsim.parts.resistor import Resistor


def lit(amps: float, **values: object) -> dict[str, float]:
    """Return the currents of an optocoupler with 5 V at its collector and this current in its diode."""
    what = part("optocoupler", **values)
    volts = root(lambda at: currents(what, {"A": at, "K": 0.0, "C": 5.0, "E": 0.0})["A"] - amps, 0.0, 5.0)
    return currents(what, {"A": volts, "K": 0.0, "C": 5.0, "E": 0.0})


@pytest.mark.law("optocoupler")
@pytest.mark.parametrize("amps", [1e-4, 1e-3, 5e-3])
@pytest.mark.parametrize("transfer", [0.5, 1.0, 3.0])
def test_transfer_is_what_it_says(amps: float, transfer: float) -> None:
    """Above saturation the collector carries `transfer` times the diode's current."""
    drawn = lit(amps, transfer=transfer)
    assert drawn["C"] == pytest.approx(transfer * amps, rel=1e-6)
    assert drawn["E"] == pytest.approx(-transfer * amps, rel=1e-6)
    assert drawn["K"] == pytest.approx(-amps, rel=1e-6)


def test_the_diode_has_its_forward_voltage() -> None:
    """PC817 data sheet (from memory): typically 1.2 V, at most 1.4 V at 20 mA."""
    what = part("optocoupler")
    found = root(lambda at: currents(what, {"A": at, "K": 0.0, "C": 5.0, "E": 0.0})["A"] - 20e-3, 0.0, 5.0)
    assert 1.1 < found < 1.4


def test_no_current_crosses_the_isolation() -> None:
    """What goes in at the anode comes out at the cathode, whatever lies between the two sides."""
    what = part("optocoupler")
    for above in (-200.0, 0.0, 200.0):
        drawn = currents(what, {"A": 1.2 + above, "K": above, "C": 5.0, "E": 0.0})
        assert drawn["A"] == pytest.approx(-drawn["K"])
        assert drawn["C"] == pytest.approx(-drawn["E"])


def test_it_saturates_into_a_pull_up() -> None:
    """A lit optocoupler pulls a 10 kΩ pull-up below 0.3 V, a dark one lets it go (common practice)."""
    bench = Bench(
        {"V5": 5.0, "LED": 3.3},
        [
            part("optocoupler", pins={"A": "A", "K": "GND", "C": "OUT", "E": "GND"}),
            Resistor(name="RL", ohms=470.0, pins={"1": "LED", "2": "A"}),
            Resistor(name="RC", ohms=10e3, pins={"1": "V5", "2": "OUT"}),
        ],
    )
    assert 0.0 < bench.solve().at("OUT") < 0.3
    assert bench.solve(absent=["LED"]).at("OUT") == pytest.approx(5.0, abs=0.01)
    assert bench.solve(Turn(NAME, "transfer", 0.01)).at("OUT") > 4.0


@pytest.mark.law("npn_prebiased")
@pytest.mark.parametrize(
    ("model", "off", "on", "amps"),
    [
        ("npn-10k-10k", 0.5, 3.0, 10e-3),  # DTC114E data sheet: VI(off) ≥ 0.5 V at 100 µA, VI(on) ≤ 3 V at 10 mA, 0.3 V
        ("npn-4k7-4k7", 0.5, 3.0, 20e-3),  # DTC143E data sheet: the same limits at 20 mA
        ("npn-4k7-47k", 0.5, 1.3, 5e-3),  # PDTC143Z data sheet (levels from memory): 1.3 V at 5 mA
    ],
)
def test_input_levels_keep_the_data_sheet(model: str, off: float, on: float, amps: float) -> None:
    """Below VI(off) less than 100 µA flow from 5 V; at VI(on) the output carries its current at 0.3 V."""
    what = part("npn_prebiased", model=model)
    assert currents(what, {"B": off, "C": 5.0, "E": 0.0})["C"] < 100e-6
    assert currents(what, {"B": on, "C": 0.3, "E": 0.0})["C"] >= amps


def test_input_current_keeps_the_data_sheet() -> None:
    """DTC114E data sheet: at most 0.88 mA into the input at 5 V."""
    assert currents(part("npn_prebiased"), {"B": 5.0, "C": 0.1, "E": 0.0})["B"] <= 0.88e-3


@pytest.mark.law("pnp_prebiased")
def test_a_prebiased_pnp_mirrors() -> None:
    """The PNP of the same values carries the opposite currents."""
    there = currents(part("pnp_prebiased"), {"B": -3.0, "C": -0.3, "E": 0.0})
    here = currents(part("npn_prebiased"), {"B": 3.0, "C": 0.3, "E": 0.0})
    assert there == pytest.approx({pin: -amps for pin, amps in here.items()})
