"""Bipolar transistors against their law and their data sheets."""

from __future__ import annotations

import math

import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st
from single_part import NAME, currents, part, root

from seqsim.network import Turn
from seqsim.parts.bipolar import FALLEN_GAIN, WHOLE_GAIN
from seqsim.parts.laws import THERMAL_VOLTS
from seqsim.parts.resistor import Resistor


def driven(kind: str, base_amps: float, collector_amps: float, model: str | None = None) -> tuple[float, float]:
    """Return VBE and VCE (magnitudes) of a transistor into whose base and collector these currents flow."""
    sign = 1 if kind == "npn" else -1
    far = sign * 1e4  # volts behind resistors so large that the currents do not depend on the transistor
    bench = Bench(
        {"FAR": far},
        [
            part(kind, model=model, pins={"B": "B", "C": "C", "E": "GND"}),
            Resistor(name="RB", ohms=abs(far) / base_amps, pins={"1": "FAR", "2": "B"}),
            Resistor(name="RC", ohms=abs(far) / collector_amps, pins={"1": "FAR", "2": "C"}),
        ],
    )
    levels = bench.solve()
    return sign * levels.at("B"), sign * levels.at("C")


def test_active_region_follows_the_gain() -> None:
    """With the collector above the base, IC = β·IB and IE = −(IB + IC)."""
    what = part("npn")
    drawn = currents(what, {"B": 0.68, "C": 5.0, "E": 0.0})
    assert drawn["C"] / drawn["B"] == pytest.approx(200, rel=1e-6)
    assert drawn["E"] == pytest.approx(-drawn["B"] - drawn["C"], rel=1e-9)


@pytest.mark.law("npn")
@settings(max_examples=40, deadline=None)
@given(st.floats(3e-6, 0.15))
def test_transfer_stays_near_ebers_and_moll(amps: float) -> None:
    """The base voltage for a collector current lies within 28 mV of VT·ln(IC/IS) plus the base resistance's drop."""
    what = part("npn")
    law = THERMAL_VOLTS * math.log1p(amps / 1e-14) + 10 * amps / 200
    found = root(lambda volts: currents(what, {"B": volts, "C": 5.0, "E": 0.0})["C"] - amps, 0.1, 3.0)
    assert found == pytest.approx(law, abs=0.028)


@pytest.mark.parametrize(
    ("kind", "base", "collector", "most"),
    [
        ("npn", 1e-3, 10e-3, 0.2),  # 2N3904 data sheet: VCE(sat) at most 0.2 V at 10 mA and 1 mA
        ("npn", 5e-3, 50e-3, 0.3),  # 2N3904 data sheet: at most 0.3 V at 50 mA and 5 mA
        ("npn", 0.5e-3, 10e-3, 0.25),  # BC847B data sheet: typical 0.09 V, at most 0.25 V at 10 mA and 0.5 mA
        ("pnp", 1e-3, 10e-3, 0.25),  # 2N3906 data sheet: at most 0.25 V at 10 mA and 1 mA
        ("pnp", 5e-3, 50e-3, 0.4),  # 2N3906 data sheet: at most 0.4 V at 50 mA and 5 mA
    ],
)
def test_saturation_voltage_keeps_the_data_sheet(kind: str, base: float, collector: float, most: float) -> None:
    """VCE(sat) is above zero and below the data sheet's limit."""
    _, saturated = driven(kind, base, collector)
    assert 0.005 < saturated <= most


@pytest.mark.parametrize(
    ("kind", "base", "collector", "least", "most"),
    [
        ("npn", 1e-3, 10e-3, 0.65, 0.85),  # 2N3904 and 2N3906 data sheets: VBE(sat) at 10 mA and 1 mA
        ("pnp", 1e-3, 10e-3, 0.65, 0.85),
        ("npn", 5e-3, 50e-3, 0.65, 0.95),  # 2N3904 data sheet: at most 0.95 V at 50 mA and 5 mA
    ],
)
def test_base_voltage_keeps_the_data_sheet(kind: str, base: float, collector: float, least: float, most: float) -> None:
    """VBE in saturation lies in the data sheet's window."""
    volts, _ = driven(kind, base, collector)
    assert least <= volts <= most


def test_base_voltage_at_two_milliamperes() -> None:
    """BC847B data sheet: VBE is 0.58 to 0.70 V at 2 mA and VCE = 5 V."""
    what = part("npn")
    found = root(lambda volts: currents(what, {"B": volts, "C": 5.0, "E": 0.0})["C"] - 2e-3, 0.1, 3.0)
    assert 0.58 <= found <= 0.70


def test_gain_falls_towards_the_rated_current() -> None:
    """What comes on top of a share of the rated current has the fallen gain, what lies below has the whole."""
    what = part("npn", amps=0.2)

    def at(volts: float) -> dict[str, float]:
        return currents(what, {"B": volts, "C": 10.0, "E": 0.0})

    low, last = at(0.75), at(0.77)
    assert low["C"] / low["B"] == pytest.approx(200, rel=1e-6)
    high, higher = at(1.2), at(1.3)
    assert last["C"] < 0.2 * WHOLE_GAIN < high["C"]
    assert last["C"] / last["B"] == pytest.approx(200, rel=1e-6)
    step = (higher["C"] - high["C"]) / (higher["B"] - high["B"])
    assert step == pytest.approx(200 * FALLEN_GAIN, rel=1e-6)


def test_more_gain_is_less_base_current() -> None:
    """The gain knob leaves the collector current at a base voltage as it is, and divides the base current."""
    what, at = part("npn", base_series_ohms=0.1), {"B": 0.66, "C": 5.0, "E": 0.0}
    before = currents(what, at)
    after = currents(what, at, patches=(Turn(NAME, "gain", 0.1),))
    assert after["C"] == pytest.approx(before["C"], rel=0.01)
    assert after["B"] == pytest.approx(10 * before["B"], rel=0.01)


@pytest.mark.law("pnp")
def test_pnp_mirrors_npn() -> None:
    """A PNP of the same values carries the opposite currents at the opposite voltages."""
    values = {"gain": 120.0, "reverse_gain": 2.0, "saturation_amps": 3e-14}
    npn, pnp = part("npn", **values), part("pnp", **values)
    at = {"B": 0.7, "C": 0.3, "E": 0.05}
    there = currents(pnp, {pin: -volts for pin, volts in at.items()})
    assert there == pytest.approx({pin: -amps for pin, amps in currents(npn, at).items()})


def test_emitter_and_collector_exchanged() -> None:
    """With C and E exchanged the gain is the reverse one."""
    drawn = currents(part("npn"), {"B": 0.66, "C": 0.0, "E": 5.0})
    assert drawn["E"] / drawn["B"] == pytest.approx(1.0, rel=1e-6)


def test_cut_off_carries_nothing() -> None:
    """Below half a volt at both junctions no current flows."""
    drawn = currents(part("npn"), {"B": 0.3, "C": 12.0, "E": 0.0})
    assert drawn == pytest.approx({"B": 0.0, "C": 0.0, "E": 0.0}, abs=1e-12)


def test_values_are_read() -> None:
    """A file's texts become SI values; `?` stands at the model's value with a wide spread."""
    what = part("npn", gain="?", amps="150mA", model="npn-small", spread={"reverse_gain": "20%"})
    assert what.gain == 200  # type: ignore[attr-defined]
    assert what.amps == 0.15  # type: ignore[attr-defined]
    assert what.spread_of("gain") > 1
    assert what.spread_of("reverse_gain") == 0.2
