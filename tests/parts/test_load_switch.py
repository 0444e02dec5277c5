"""Load switches: on, off, limit, backward conduction, failure modes."""

from __future__ import annotations

import pytest
from bench import Bench

from seqsim.parts.load_switch import LoadSwitch
from seqsim.parts.resistor import Resistor

LOAD = Resistor(name="RL", ohms=10.0, pins={"1": "OUT", "2": "GND"})


def load_switch(**values: object) -> LoadSwitch:
    pins = {"IN": "VIN", "OUT": "OUT", "EN": "EN", "GND": "GND"}
    return LoadSwitch(name="U1", pins=pins, **values)


@pytest.mark.law("load_switch")
def test_on_and_off() -> None:
    """On, it loses its resistance times the current (5 V × 0.05/10.05); off, nothing passes."""
    made = load_switch(on_ohms="50m")
    assert Bench({"VIN": 5.0, "EN": 3.3}, [made, LOAD]).solve().at("OUT") == pytest.approx(4.975, abs=0.002)
    assert Bench({"VIN": 5.0, "EN": 0.0}, [made, LOAD]).solve().at("OUT") < 1e-3


def test_limit() -> None:
    """A 0.2 A limit leaves 2 V at 10 Ω."""
    bench = Bench({"VIN": 5.0, "EN": 3.3}, [load_switch(amps="0.2"), LOAD])
    assert bench.solve().at("OUT") == pytest.approx(2.0, abs=1e-3)


@pytest.mark.parametrize(("blocking", "least", "most"), [("false", 2.6, 2.9), ("true", -0.01, 0.01)])
def test_it_passes_backwards_unless_it_blocks(blocking: str, least: float, most: float) -> None:
    """Off, the body diode feeds an open input from the output, unless `reverse_blocking`."""
    drain = Resistor(name="R1", ohms=1e3, pins={"1": "VIN", "2": "GND"})
    bench = Bench({"VIN": 5.0, "EN": 0.0, "OUT": 3.3}, [load_switch(reverse_blocking=blocking), drain])
    assert least < bench.solve(absent=["VIN"]).at("VIN") < most


def test_discharge_acts_when_off() -> None:
    """Off, the output is discharged against a leak of 10 kΩ from the input."""
    leak = Resistor(name="R1", ohms=10e3, pins={"1": "VIN", "2": "OUT"})
    bench = Bench({"VIN": 5.0, "EN": 0.0}, [load_switch(discharge="100"), leak])
    assert bench.solve().at("OUT") == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize(
    ("mode", "severity", "enable", "least", "most"),
    [
        ("no output", 0.0, 3.3, -0.01, 0.01), ("stuck on", 0.1, 0.0, 4.9, 5.0),
        ("high resistance", 200.0, 3.3, 2.4, 2.6), ("OUT-GND short", 0.1, 3.3, 3.0, 3.6),
        ("EN stuck low", 0.0, 3.3, -0.01, 0.01), ("EN stuck high", 0.0, 0.0, 4.9, 5.0),
    ],
)  # fmt: skip
def test_modes_do_what_they_say(mode: str, severity: float, enable: float, least: float, most: float) -> None:
    """Each failure gives the output that its name promises."""
    made = load_switch()
    found = next(each for each in made.modes() if each.name == mode)
    bench = Bench({"VIN": 5.0, "EN": enable}, [made, LOAD])
    assert least < bench.solve(*found.patches(severity)).at("OUT") < most


def test_shares_follow_the_makers_splits() -> None:
    """Shares sum to one; out of spec leads, then open, then stuck on (TPS1HA08-Q1 and TPS1HC30-Q1 splits)."""
    share = {mode.name: mode.share for mode in load_switch().modes()}
    assert sum(share.values()) == pytest.approx(1)
    assert share["high resistance"] > share["no output"] > share["stuck on"]
