"""What a diagram tells of a solved board: currents add up, devices are on or off, levels have their word."""

from __future__ import annotations

import pytest
from drawn_boards import BOARDS, library_circuit

from seqsim.circuit import OFF
from seqsim.drawing.facts import Facts, Flag, Level
from seqsim.drawing.moment import flag, moment
from seqsim.readings import parse_reading
from seqsim.results import NodeLevel, level_map

LEAK_AMPS = 30e-9
"""The model's 1 nS at each node at 24 V, and rounding."""


def facts(name: str, state: str | None = None, faults: tuple[str, ...] = (), readings: tuple[str, ...] = ()) -> Facts:
    circuit = library_circuit(name)
    taken = [parse_reading(circuit, text) for text in readings]
    return moment(circuit, level_map(name, circuit, state, faults), taken)


@pytest.mark.parametrize("name", BOARDS)
def test_currents_add_up_at_every_net(name: str) -> None:
    """Kirchhoff's current law: what flows into the parts on a net adds up to nothing, in every power state."""
    circuit = library_circuit(name)
    for state in circuit.power_states:
        amps = facts(name, state).amps
        for net, pins in circuit.nets().items():
            if net not in circuit.grounds:
                flowing = [amps.get(pin, 0.0) for pin in pins]
                assert abs(sum(flowing)) < LEAK_AMPS + 1e-6 * max(map(abs, flowing), default=0.0)


def test_currents_add_up_with_faults() -> None:
    """The same where a fault has moved a pin, scaled a resistor or shorted a transistor."""
    circuit = library_circuit("greenhouse_fan")
    for fault in ("R7:high x3", "Q1:C-E short", "R9.2:joint open"):
        amps = facts("greenhouse_fan", faults=(fault,)).amps
        for net, pins in circuit.nets().items():
            if net not in circuit.grounds:
                kept = [pin for pin in pins if not fault.startswith(pin)]
                flowing = [amps.get(pin, 0.0) for pin in kept]
                assert abs(sum(flowing)) < LEAK_AMPS + 1e-6 * max(map(abs, flowing))


def test_off_carries_nothing() -> None:
    """With everything disconnected no part conducts."""
    found = facts("organ_blower", OFF)
    assert not any(found.conducts(terminal) for terminal in found.amps)


def test_words_of_the_greenhouse_board() -> None:
    """By the board's own description: running, Q2 takes Q1's base current and M2 pulls M1's gate down."""
    running, battery = facts("greenhouse_fan", "running"), facts("greenhouse_fan", "battery")
    assert [running.words[name] for name in ("Q2", "Q1", "M2", "M1", "SW1", "U2")] == [
        "on", "off", "on", "on", "open", "on",
    ]  # fmt: skip
    assert [battery.words[name] for name in ("Q2", "Q1", "M2", "M1", "SW1")] == ["off", "on", "off", "off", "closed"]
    assert battery.words["START"] == "held at 0 V"
    assert running.words["START"] == "applied"
    assert battery.conducts("Q1.C")
    assert not running.conducts("Q1.C")


@pytest.mark.parametrize(
    ("node", "largest", "level"),
    [
        (NodeLevel(3.3, 3.2, 3.4, "driven"), 3.3, Level.HIGH),
        (NodeLevel(0.02, 0.0, 0.05, "driven"), 3.3, Level.LOW),
        (NodeLevel(0.03, 0.0, 0.05, "driven"), 0.03, Level.LOW),  # never anything but low
        (NodeLevel(0.65, 0.6, 0.7, "driven"), 0.65, Level.HIGH),  # a base is high at a junction's voltage
        (NodeLevel(14.0, 13.0, 15.0, "driven"), 24.0, Level.BETWEEN),
        (NodeLevel(1.0, 0.0, 3.3, "undefined"), 3.3, Level.UNDEFINED),
        (NodeLevel(0.0, 0.0, 0.0, "floating"), 3.3, Level.FLOATING),
        (NodeLevel(-12.0, -12.5, -11.5, "driven"), 12.0, Level.HIGH),
    ],
)
def test_flags(node: NodeLevel, largest: float, level: Level) -> None:
    """High above 70 % of the largest voltage that the net takes, low below 30 %, by size."""
    assert flag(node, largest).level is level


def test_faults_are_marked_where_they_are() -> None:
    """A part's fault at the part, a joint's at its part, copper's and a net's at the net."""
    found = facts("greenhouse_fan", faults=("R5:open", "U5.A:joint open", "VIA4:broken", "V5:short to GND, 8 Ω"))
    assert found.broken == {
        "R5": ("R5:open",), "U5": ("U5.A:joint open",), "RUN": ("VIA4:broken",), "V5": ("V5:short to GND, 8 Ω",),
    }  # fmt: skip
    assert isinstance(found.flags["R8.1"], Flag)  # the pin that the via cuts off has a level of its own


def test_readings_are_compared_with_the_level() -> None:
    """A reading near the level agrees, one far off does not; ohms and other states are shown without a verdict."""
    marks = facts(
        "greenhouse_fan",
        readings=("EN_BLOWER 4.5", "V5 0.3", "ARMED 0.2 @battery", "R8.1 110k ohm", "V3V3 high", "VBAT 0.8A"),
    ).marks
    assert [mark.agrees for mark in marks["EN_BLOWER"]] == [True]
    assert [mark.agrees for mark in marks["V5"]] == [False]
    assert marks["ARMED"][0].agrees is None
    assert "@battery" in marks["ARMED"][0].text
    assert marks["R8.1"][0].text.startswith("R8.1 110 kΩ")
    assert marks["V3V3"][0].agrees is None
    assert marks["V24"][0].text.startswith("VBAT 800 mA")
