"""A circuit becomes a network whose levels are those of the textbook, and broken copper cuts the right piece."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from seqsim.circuit import Circuit, compile_network, copper_patches, parse_circuit, state_gates
from seqsim.errors import UnknownPlaceError
from seqsim.network import Move
from seqsim.solver import Levels, solve

Build = Callable[..., Circuit]

CHAIN = """\
format: 1
supplies:
  VIN: {volts: 10, ohms: 0}
  SIG: {volts: 4, ohms: 1k, idle: low, net: SIGNAL}
power_states:
  dead: {on: []}
  half: {on: [VIN]}
  full: {on: [VIN, SIG], switches: {SW1: closed}}
parts:
  R1: {kind: resistor, ohms: 1k, pins: [VIN, MID]}
  R2: {kind: resistor, ohms: 1k, pins: [MID, GND]}
  R3: {kind: resistor, ohms: 1k, pins: [MID, GND]}
  R4: {kind: resistor, ohms: 1k, pins: [SIGNAL, GND]}
  SW1: {kind: switch, pins: [VIN, SIDE]}
  R5: {kind: resistor, ohms: 1k, pins: [SIDE, GND]}
"""


def levels(circuit: Circuit, state: str, *patches: Move) -> Levels:
    return solve(compile_network(circuit), patches, gates=state_gates(circuit, state))


def chain(copper: str = "") -> Circuit:
    return parse_circuit(CHAIN + (f"copper:\n  CUT: {copper}\n" if copper else ""))


def test_a_divider_divides() -> None:
    """10 V over 1 kΩ and two of 1 kΩ side by side: 10/3 V (Ohm's law; 1 nS to ground changes less than 1 mV)."""
    assert levels(chain(), "half").at("MID") == pytest.approx(10 / 3, abs=1e-3)


def test_what_a_state_does_not_apply_is_open() -> None:
    """A supply that is not applied gives nothing; `idle: low` makes it 0 V; in `off` even that is gone."""
    circuit = chain()
    assert levels(circuit, "off").at("MID") == pytest.approx(0, abs=1e-6)
    assert levels(circuit, "half").at("SIGNAL") == pytest.approx(0, abs=1e-6)
    assert levels(circuit, "full").at("SIGNAL") == pytest.approx(2.0, abs=1e-3)
    gates = {state: state_gates(circuit, state) for state in circuit.power_states}
    assert gates["off"]["SIG:idle low"] is False
    assert gates["dead"]["SIG:idle low"] is True
    assert gates["full"] == {
        "VIN:applied": True, "VIN:idle low": False, "SIG:applied": True, "SIG:idle low": False, "SW1:closed": True,
    }  # fmt: skip


def test_switches_stand_as_the_state_says() -> None:
    """A switch that a state does not mention stands as the part rests."""
    assert levels(chain(), "half").at("SIDE") == pytest.approx(0, abs=1e-3)
    assert levels(chain(), "full").at("SIDE") == pytest.approx(10, abs=1e-2)


def test_an_unknown_state_is_told() -> None:
    """State names have close matches too."""
    with pytest.raises(UnknownPlaceError, match="did you mean half"):
        state_gates(chain(), "halve")
    with pytest.raises(UnknownPlaceError, match="no copper called 'CAT'; did you mean CUT"):
        copper_patches(chain("{net: MID, cuts_off: [R2.1]}"), "CAT")


def test_nets_come_in_the_order_of_appearance() -> None:
    """Supplies first, then parts in the order of the file; ground is no node."""
    network = compile_network(chain())
    assert network.node_names[: network.nets] == ("VIN", "SIGNAL", "MID", "SIDE")
    assert network.pins_on["MID"] == ("R1.2", "R2.1", "R3.1")


def test_the_order_of_parts_changes_no_level() -> None:
    """Levels do not depend on how the file is ordered."""
    head, parts = CHAIN.split("parts:\n")
    turned = head + "parts:\n" + "\n".join(reversed(parts.strip("\n").splitlines())) + "\n"
    for net in ("VIN", "SIGNAL", "MID", "SIDE"):
        assert levels(parse_circuit(turned), "full").at(net) == pytest.approx(levels(chain(), "full").at(net), abs=1e-9)


def test_the_piece_that_is_not_listed_keeps_the_net() -> None:
    """Without a supply on either piece the listed pins leave: 10 V over 1 kΩ and 1 kΩ is 5 V."""
    circuit = chain("{net: MID, cuts_off: [R2.1]}")
    found = levels(circuit, "half", *copper_patches(circuit, "CUT"))
    assert found.at("MID") == pytest.approx(5, abs=1e-3)
    assert found.at("R2.1") == pytest.approx(0, abs=1e-3)


def test_the_piece_with_the_supply_keeps_the_net() -> None:
    """Listing the supply's side, or naming the supply, cuts the other side off."""
    for listed in ("[VIN]", "[R1.1, SW1.1]"):
        circuit = chain(f"{{net: VIN, cuts_off: {listed}}}")
        found = levels(circuit, "full", *copper_patches(circuit, "CUT"))
        assert found.at("VIN") == pytest.approx(10, abs=1e-2)
        assert found.at("R1.1") == pytest.approx(0, abs=1e-2)
        assert found.at("SW1.1") == pytest.approx(0, abs=1e-2)


def test_a_cut_piece_may_take_the_supply_along() -> None:
    """A cut between {VIN, R1.1} and the switch, listed from the supply's side, leaves the net to the supply."""
    circuit = chain("{net: VIN, cuts_off: [VIN, R1.1]}")
    found = levels(circuit, "full", *copper_patches(circuit, "CUT"))
    assert found.at("VIN") == pytest.approx(10, abs=1e-2)
    assert found.at("R1.1") == pytest.approx(10, abs=1e-2)
    assert found.at("SIDE") == pytest.approx(0, abs=1e-2)


def test_broken_ground_lifts_what_it_cuts_off() -> None:
    """R2's and R3's ground ends cut off together float at MID's level: no current flows through R1."""
    circuit = chain("{net: GND, cuts_off: [R2.2, R3.2]}")
    patches = copper_patches(circuit, "CUT")
    found = levels(circuit, "half", *patches)
    assert found.at("MID") == pytest.approx(10, abs=1e-3)
    assert found.at("R2.2") == pytest.approx(10, abs=1e-3)
    assert found.at("R3.2") == pytest.approx(found.at("R2.2"), abs=1e-9)
    assert found.at("R4.2") == 0


def test_a_cut_off_piece_is_named_after_its_first_pin() -> None:
    """The first in the order of the file, whatever the order of `cuts_off`."""
    circuit = chain("{net: MID, cuts_off: [R3.1, R2.1]}")
    assert copper_patches(circuit, "CUT") == (Move(("R2.1", "R3.1"), "R2.1/cut"),)


def test_further_grounds_have_a_level(build: Build) -> None:
    """An isolated side is tied to the first ground, and its supply's return stays separate from GND's pins."""
    text = """\
format: 1
grounds: [GND, ISO]
supplies: {VIN: {volts: 5}}
power_states: {on: {on: [VIN]}}
parts:
  R1: {kind: resistor, ohms: 1k, pins: [VIN, GND]}
  R2: {kind: resistor, ohms: 1k, pins: [X, ISO]}
"""
    circuit = parse_circuit(text)
    found = levels(circuit, "on")
    assert found.at("ISO") == pytest.approx(0, abs=1e-9)
    assert found.at("X") == pytest.approx(0, abs=1e-6)
    with_bond = parse_circuit(text.replace("[VIN, GND]", "[VIN, ISO]"))
    assert levels(with_bond, "on").at("ISO") == pytest.approx(5e-3, rel=0.01)  # 5 mA through the tie of 1 S


def test_quiescent_current_loads_the_supply_pin(build: Build) -> None:
    """A gate with `quiescent: 1k` behind 1 kΩ halves its supply; `1mA` takes 1 V of it (Ohm's law)."""
    for quiescent, volts in (("1k", 2.5), ("1mA", 4.0)):
        circuit = build(f"""
            R1: {{kind: resistor, ohms: 1k, pins: [V5, VCC1]}}
            R2: {{kind: resistor, ohms: 1k, pins: [VIN, GND]}}
            U1: {{kind: not, quiescent: {quiescent}, pins: {{A: GND, Y: OUT, VCC: VCC1, GND: GND}}}}
        """)
        assert levels(circuit, "on").at("VCC1") == pytest.approx(volts, abs=0.02)
