"""Parts that were fitted wrongly: what may be, and what it does."""

from __future__ import annotations

import pytest

from seqsim.circuit import Circuit, compile_network, parse_circuit, state_gates
from seqsim.errors import UnknownPlaceError
from seqsim.faults import Kind, Remark, every_fault, find_fault, history_of, single_faults
from seqsim.faults.misfits import misfits
from seqsim.solver import solve

BOARD = parse_circuit(
    """
format: 1
supplies: {V12: {volts: 12, ohms: 0.01}, ON: {volts: 3.3, ohms: 100}}
power_states: {on: {on: [V12, ON]}}
parts:
  D1: {kind: diode, pins: [V12, AFTER]}
  R1: {kind: resistor, ohms: 1k, tolerance: 1%, pins: [AFTER, GND]}
  R2: {kind: resistor, ohms: 1k, tolerance: 1%, pins: [V12, HALF]}
  R3: {kind: resistor, ohms: 1k, tolerance: 1%, pins: [HALF, GND]}
  R4: {kind: resistor, ohms: 10k, pins: [ON, BASE]}
  R5: {kind: resistor, ohms: 1k, pins: [V12, COLLECTOR]}
  Q1: {kind: npn, pins: {B: BASE, C: COLLECTOR, E: GND}}
  M1: {kind: pmos, model: pmos-power, pins: {G: V12, D: OUT, S: V12}}
  R6: {kind: resistor, ohms: 1k, pins: [OUT, GND]}
  U1: {kind: regulator, volts: 5, pins: {IN: V12, OUT: V5, GND: GND, EN: V12}}
  R7: {kind: resistor, ohms: 1k, pins: [V5, GND]}
  JP1: {kind: jumper, pins: [V5, SELECT]}
  JP2: {kind: jumper, closed: false, pins: [V12, SELECT]}
  R8: {kind: resistor, ohms: 10k, pins: [SELECT, GND]}
""",
    "misfits.yaml",
)


def level(net: str, fault: str = "", circuit: Circuit = BOARD) -> float:
    """Return the level of a net with a fault."""
    patches = find_fault(circuit, fault)[0].patches(1.0) if fault else ()
    return solve(compile_network(circuit), patches, state_gates(circuit, "on")).at(net)


def test_a_board_of_unknown_history_has_no_misfits() -> None:
    """Nobody asks for a reversed diode on a board that ran before and that nobody worked on."""
    assert not [fault for fault in single_faults(BOARD) if fault.kind is Kind.MISFIT]


@pytest.mark.parametrize(
    "name",
    [
        "D1:reversed", "Q1:C-E exchanged", "Q1:B-E exchanged", "M1:D-S exchanged", "U1:IN-OUT exchanged",
        "R2:value x10", "R2:value ÷100", "R2:value /100", "JP1:in place of JP2",
    ],
)  # fmt: skip
def test_each_family_has_its_misfits(name: str) -> None:
    """They have names like other faults, which `levels --fault` takes as well, a check and a repair."""
    fault, _ = find_fault(BOARD, name)
    assert fault.kind is Kind.MISFIT
    assert fault.confirm
    assert fault.repair
    assert fault.caution


def test_priors_of_misfits_are_one_share_a_part() -> None:
    """However many ways a part can be fitted wrongly, they share one weight."""
    weight: dict[str, float] = {}
    for fault in misfits(BOARD):
        weight[fault.place] = weight.get(fault.place, 0.0) + fault.prior
    assert list(weight.values()) == pytest.approx([1.0] * len(weight))


def test_a_reversed_diode_blocks() -> None:
    """12 V less a drop behind the diode; nothing with its cathode to the supply."""
    assert level("AFTER") == pytest.approx(11.3, abs=0.15)
    assert level("AFTER", "D1:reversed") == pytest.approx(0.0, abs=0.01)


def test_a_value_wrong_by_ten() -> None:
    """Two equal resistors halve 12 V; ten times the upper one leaves an eleventh, a tenth of it ten elevenths."""
    assert level("HALF") == pytest.approx(6.0, abs=0.01)
    assert level("HALF", "R2:value x10") == pytest.approx(12 / 11, abs=0.01)
    assert level("HALF", "R2:value ÷10") == pytest.approx(120 / 11, abs=0.01)


def test_a_transistor_with_collector_and_emitter_exchanged_still_switches_badly() -> None:
    """0.26 mA into the base; upside down the gain is a few, so the collector resistor keeps most of 12 V off it."""
    assert level("COLLECTOR") < 0.3
    assert 3.0 < level("COLLECTOR", "Q1:C-E exchanged") < 12.0


def test_a_mosfet_turned_round_conducts_through_its_body_diode() -> None:
    """Off, a P-channel switch keeps 12 V from its output; with source and drain exchanged its diode lets it through."""
    assert level("OUT") == pytest.approx(0.0, abs=0.05)
    assert level("OUT", "M1:D-S exchanged") == pytest.approx(11.3, abs=0.4)


def test_a_jumper_on_the_neighbouring_pins() -> None:
    """SELECT is 5 V by JP1; with the jumper on JP2 it is 12 V."""
    assert level("SELECT") == pytest.approx(5.0, abs=0.1)
    assert level("SELECT", "JP1:in place of JP2") == pytest.approx(12.0, abs=0.01)


def test_misfits_come_with_a_history_of_rework_where_it_was() -> None:
    """Rework at D1 makes D1 suspect of being reversed, and no other part."""
    history = history_of(BOARD, [Remark("rework at D1")])
    found = [fault.name for fault in single_faults(BOARD, history) if fault.kind is Kind.MISFIT]
    assert found == ["D1:reversed"]
    everywhere = history_of(BOARD, [Remark("first assembly")])
    places = {fault.place for fault in single_faults(BOARD, everywhere) if fault.kind is Kind.MISFIT}
    assert {"D1", "Q1", "M1", "U1", "R1", "JP1"} <= places
    assert sum(fault.prior for fault in every_fault(BOARD)) == pytest.approx(1.0)


def test_a_wrong_misfit_names_what_there_is() -> None:
    """A fault that the part cannot have is refused with those that it can."""
    with pytest.raises(UnknownPlaceError, match="'D1:reversed'"):
        find_fault(BOARD, "D1:reversd")
