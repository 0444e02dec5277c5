"""Cautions: which ones a board calls for."""

from __future__ import annotations

import pytest

from seqsim.circuit import Circuit
from seqsim.faults import Topic, off_caution, probe_cautions, repair_cautions
from seqsim.parts import Standing, Supply


def supplied(circuit: Circuit, **values: object) -> Circuit:
    """Return the board with one supply of its own."""
    made = Supply.model_validate({"name": "VIN", "net": "V12", "volts": 12.0} | values)
    return circuit.model_copy(update={"supplies": {made.name: made}})


def topics(circuit: Circuit) -> set[Topic]:
    """Topics of all cautions of a board."""
    return {caution.topic for caution in (*probe_cautions(circuit), *repair_cautions(circuit))}


def test_the_usual_ones_are_always_there(library: Circuit) -> None:
    """Law, mains side and stored charge with every advice; the meter with probing, static with repair."""
    for given in (probe_cautions(library), repair_cautions(library)):
        found = {caution.topic for caution in given}
        assert {Topic.LAW, Topic.MAINS, Topic.CHARGE} <= found
        assert all(caution.text and caution.because and caution.source.text for caution in given)
    assert Topic.METER in {caution.topic for caution in probe_cautions(library)}
    assert Topic.STATIC in {caution.topic for caution in repair_cautions(library)}


@pytest.mark.parametrize(
    ("volts", "hazardous"), [(12.0, False), (59.0, False), (61.0, True), (-70.0, True), (325.0, True)]
)
def test_hazardous_live_voltage(flap: Circuit, volts: float, *, hazardous: bool) -> None:
    """Above 60 V d.c. (IEC 61010-031, scope) a board is hazardous live."""
    board = supplied(flap, volts=volts, spread=0.0)
    assert (Topic.VOLTAGE in topics(board)) is hazardous
    assert ("hazardous live" in off_caution(board)) is hazardous


def test_voltages_add_up_between_supplies(flap: Circuit) -> None:
    """Two supplies of opposite sign are as dangerous as their difference."""
    low = Supply(name="NEG", net="VNEG", volts=-40.0, spread=0.0)
    high = Supply(name="POS", net="V12", volts=40.0, spread=0.0)
    assert Topic.VOLTAGE in topics(flap.model_copy(update={"supplies": {"NEG": low, "POS": high}}))


def test_the_limit_for_alternating_voltage(flap: Circuit) -> None:
    """A supply that is named after the mains is held to 42.4 V peak."""
    assert Topic.VOLTAGE in topics(supplied(flap, name="MAINS_RECT", volts=50.0, spread=0.0))


@pytest.mark.parametrize(
    ("values", "battery"),
    [({"name": "VBAT"}, True), ({"name": "PACK1"}, True), ({"amps": 20.0}, True), ({"amps": 2.0}, False), ({}, False)],
)
def test_batteries(flap: Circuit, values: dict[str, object], *, battery: bool) -> None:
    """A battery is known by its name, or by what it can deliver."""
    assert (Topic.BATTERY in topics(supplied(flap, **values))) is battery


def test_large_capacitors_are_named(flap: Circuit) -> None:
    """A capacitor of 470 µF is named with the advice to discharge it; without it the advice is general."""
    charge = next(caution for caution in probe_cautions(flap) if caution.topic is Topic.CHARGE)
    assert "C1" in charge.because
    assert "resistor" in charge.text
    parts = {name: part for name, part in flap.parts.items() if name != "C1"}
    rest = next(c for c in probe_cautions(flap.model_copy(update={"parts": parts})) if c.topic is Topic.CHARGE)
    assert rest.because == "every board"


def test_static_needs_semiconductors(flap: Circuit) -> None:
    """A board of resistors alone needs no wrist strap."""
    parts = {name: part for name, part in flap.parts.items() if part.kind == "resistor"}
    board = flap.model_copy(update={"parts": parts, "copper": {}})
    assert Topic.STATIC not in topics(board)
    assert "wrist strap" not in off_caution(board)


def test_power_comes_off_first(flap: Circuit) -> None:
    """The line beside every check with power off says so, with the battery and the discharge."""
    text = off_caution(flap)
    assert text.startswith("Disconnect every supply")
    assert "battery" in text
    assert "discharge" in text
    assert text.endswith(".")


def test_sources_say_how_far_they_hold(flap: Circuit) -> None:
    """Limits come from a standard that was read; the rest is common practice or judgement."""
    voltage = next(c for c in probe_cautions(supplied(flap, volts=100.0)) if c.topic is Topic.VOLTAGE)
    assert voltage.source.standing is Standing.SEEN
