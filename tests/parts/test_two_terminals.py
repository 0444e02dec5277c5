"""Resistors, capacitors, windings, fuses, contacts and loads."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from single_part import NAME, currents, network, part

from seqsim.network import Turn

CHIP = {"PIN": "PIN", "RAIL": "RAIL", "GND": "GND"}


@pytest.mark.law("resistor")
@given(st.floats(0.1, 1e7), st.floats(-30, 30))
def test_resistors_follow_ohm(ohms: float, volts: float) -> None:
    """I = V/R in both directions; the knob is a factor on the resistance."""
    what = part("resistor", ohms=ohms)
    assert currents(what, {"1": volts, "2": 0.0})["1"] == pytest.approx(volts / ohms)
    turned = currents(what, {"1": volts, "2": 0.0}, patches=(Turn(NAME, "ohms", 3.0),))
    assert turned["1"] == pytest.approx(volts / ohms / 3)


@pytest.mark.parametrize(
    ("text", "ohms"), [("10k", 1e4), ("4k7", 4700.0), ("0R", 0.0), ("2R2", 2.2), ("1M", 1e6), ("?", 1e4)]
)
def test_resistors_are_read_as_on_the_bench(text: str, ohms: float) -> None:
    """Bench notation gives ohms; `?` stands at 10 kΩ with a wide spread."""
    what = part("resistor", ohms=text)
    assert what.ohms == pytest.approx(ohms)  # type: ignore[attr-defined]
    assert (network(what).knobs[NAME, "ohms"].spread > 1) == (text == "?")


def test_tolerance_becomes_a_deviation() -> None:
    """A value that is uniform within ±1 % has a standard deviation of 1 %/√3."""
    assert network(part("resistor", ohms=1e3, tolerance="1%")).knobs[NAME, "ohms"].spread == pytest.approx(
        0.00577, 1e-2
    )


def test_film_resistors_hardly_short() -> None:
    """Both failure tables agree that film resistors open or drift (MIL-HDBK-338B and Birolini, from memory)."""
    shares = {mode.name: mode.share for mode in part("resistor").modes()}
    assert shares["short"] <= 0.05
    assert shares["open"] > shares["short"]


@pytest.mark.parametrize("type_", ["ceramic", "tantalum"])
def test_capacitors_short_more_than_they_open(type_: str) -> None:
    """Ceramic and tantalum capacitors: shorts before opens in both failure tables (from memory)."""
    shares = {mode.name: mode.share for mode in part("capacitor", type=type_).modes()}
    assert shares["short"] > shares["open"]
    assert set(shares) == {"short", "leaky", "open", "low"}


@pytest.mark.law("capacitor")
def test_a_sound_capacitor_carries_nothing() -> None:
    """At a steady level a capacitor is open; its capacitance stands by for a power-up in time."""
    what = part("capacitor", farads="4u7")
    assert currents(what, {"1": 5.0, "2": 0.0}) == {"1": 0.0, "2": 0.0}
    (storage,) = network(what).storages
    assert storage.farads == pytest.approx(4.7e-6)
    assert (storage.plus, storage.minus) == (f"{NAME}.1", f"{NAME}.2")


def test_a_leaky_capacitor_carries_current() -> None:
    """`leaky` is a resistance of the severity between its pins."""
    what = part("capacitor")
    leaky = next(mode for mode in what.modes() if mode.name == "leaky")
    assert currents(what, {"1": 5.0, "2": 0.0}, patches=leaky.patches(1e4))["1"] == pytest.approx(5e-4)


@pytest.mark.law("inductor", "ferrite", "fuse")
@pytest.mark.parametrize("kind", ["inductor", "ferrite", "fuse", "jumper"])
def test_wires_pass_current_both_ways(kind: str) -> None:
    """At a steady level only the wire's resistance is left; `open` takes it away."""
    what = part(kind, ohms="0.5")
    assert currents(what, {"1": 0.1, "2": 0.0})["1"] == pytest.approx(0.2)
    assert currents(what, {"1": 0.0, "2": 0.1})["2"] == pytest.approx(0.2)
    name = "stuck open" if kind == "jumper" else "open"
    broken = next(mode for mode in what.modes() if mode.name == name)
    assert currents(what, {"1": 0.1, "2": 0.0}, patches=broken.patches(1.0))["1"] == 0.0


@pytest.mark.law("switch", "button", "jumper")
@pytest.mark.parametrize(("kind", "closed"), [("switch", False), ("button", False), ("jumper", True)])
def test_contacts_obey_their_gate(kind: str, *, closed: bool) -> None:
    """A contact stands as drawn unless its gate says otherwise, and a stuck one ignores the gate."""
    what, at, gate = part(kind), {"1": 0.05, "2": 0.0}, f"{NAME}:closed"
    assert (currents(what, at)["1"] > 0) == closed
    assert currents(what, at, gates={gate: True})["1"] == pytest.approx(1.0)
    assert currents(what, at, gates={gate: False})["1"] == 0.0
    stuck = {mode.name: mode.patches(1.0) for mode in what.modes() if mode.severity is None}
    assert currents(what, at, gates={gate: True}, patches=stuck["stuck open"])["1"] == 0.0
    assert currents(what, at, gates={gate: False}, patches=stuck["stuck closed"])["1"] == pytest.approx(1.0)


@pytest.mark.law("load")
@given(st.floats(0, 12))
def test_a_current_load_falls_to_zero_with_the_voltage(volts: float) -> None:
    """Constant from `full_volts` on, nothing below half of it, a straight line between, never backwards."""
    what = part("load", amps="50mA", full_volts="2V")
    share = min(max(volts - 1.0, 0.0), 1.0)
    assert currents(what, {"1": volts, "2": 0.0})["1"] == pytest.approx(0.05 * share, abs=1e-12)
    assert currents(what, {"1": -volts, "2": 0.0})["1"] == pytest.approx(0.0, abs=1e-12)


def test_a_current_load_scales_as_one() -> None:
    """Its knob turns both of its hinges, so the load stays constant above its knee."""
    what = part("load", amps="50mA")
    for volts in (1.0, 5.0, 12.0):
        turned = currents(what, {"1": volts, "2": 0.0}, patches=(Turn(NAME, "amps", 2.0),))
        assert turned["1"] == pytest.approx(0.1)


def test_a_pin_of_a_chip_has_clamps() -> None:
    """A pin above its rail or below ground conducts through a clamp of less than 0.9 V at 1 mA (common practice)."""
    what = part("load", pins=CHIP, ohms="1M")
    quiet = currents(what, {"PIN": 2.0, "RAIL": 3.3, "GND": 0.0})
    assert quiet["PIN"] == pytest.approx(2e-6)
    assert currents(what, {"PIN": 4.2, "RAIL": 3.3, "GND": 0.0})["RAIL"] < -1e-3
    assert currents(what, {"PIN": -0.9, "RAIL": 3.3, "GND": 0.0})["GND"] > 1e-3
    free = part("load", pins=CHIP, ohms="1M", clamps="false")
    assert currents(free, {"PIN": 6.0, "RAIL": 3.3, "GND": 0.0})["RAIL"] == 0.0


def test_an_unknown_load_has_a_wide_spread() -> None:
    """`?` stands at 1 kΩ or 10 mA and may be off by a factor of seven."""
    assert network(part("load", ohms="?")).knobs[NAME, "ohms"].spread > 1
    assert part("load", amps="?").amps == pytest.approx(0.01)  # type: ignore[attr-defined]
