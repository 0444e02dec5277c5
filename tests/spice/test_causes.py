"""Causes of differences, on small boards made so that the cause is known. These tests need the engine."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from seqsim.circuit import compile_network, read_circuit
from seqsim.faults import find_fault
from seqsim.network import Patch
from seqsim.parts.wiring import ModelWriter, model_line
from seqsim.spice.causes import PIECES, Asked, causes
from seqsim.spice.compare import Comparison, compare, switch_levels
from seqsim.spice.engine import engine
from seqsim.spice.models import full_model

HEAD = """\
format: 1
title: invented for the tests
supplies:
  V5: {volts: 5, ohms: 10m}
  IN: {volts: %s, ohms: 1}
power_states:
  on: {on: [V5, IN]}
parts:
"""


def asked(
    folder: Path, parts: str, volts: str = "5", fault: str = "", write_model: ModelWriter = full_model
) -> tuple[Asked, Comparison]:
    """Return a board and its comparison in its one power state."""
    path = folder / "board.yaml"
    path.write_text(HEAD % volts + parts, encoding="utf-8")
    circuit = read_circuit(path)
    network = compile_network(circuit)
    patches: tuple[Patch, ...] = ()
    if fault:
        found, severity = find_fault(circuit, fault)
        patches = found.patches(1.0 if severity is None else severity)
    levels = switch_levels(circuit, network, "on", patches)
    both = compare(engine(), circuit, network, levels, "on", patches, write_model=write_model)
    return Asked(engine(), circuit, network, "on", patches, write_model), both


def cause_at(net: str, question: tuple[Asked, Comparison], above: float = 0.02) -> str:
    """Return the cause of the difference at a net."""
    board, both = question
    return causes(board, both, above)[board.network.node_index[net]]


def test_leakage_decides_where_nothing_drives(tmp_path: Path) -> None:
    """A net behind a blocking Schottky diode alone is pulled up by some nanoamperes, which the switch level lacks."""
    parts = """\
  D1: {kind: diode, model: schottky-small, pins: {A: FREE, K: V5}}
  R1: {kind: resistor, ohms: 1k, pins: [IN, GND]}
"""
    assert cause_at("FREE", asked(tmp_path, parts)).startswith("nothing drives it")


def test_a_floating_input_is_named(tmp_path: Path) -> None:
    """The output follows an input that only leakage sets."""
    parts = """\
  D1: {kind: diode, model: schottky-small, pins: {A: FREE, K: V5}}
  U1: {kind: buffer, family: lvc, pins: {A: FREE, Y: OUT, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 10k, pins: [OUT, GND]}
"""
    assert cause_at("OUT", asked(tmp_path, parts)) == "an input that floats: U1 A"


def test_a_threshold_within_its_margin_is_named(tmp_path: Path) -> None:
    """The inputs of a comparator differ by 0.2 mV: the switch level takes a side, SPICE stands in between."""
    parts = """\
  R3: {kind: resistor, ohms: 1k, pins: [IN, REF]}
  R4: {kind: resistor, ohms: 10M, pins: [REF, GND]}
  U1: {kind: comparator, pins: {INP: IN, INN: REF, OUT: OUT, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 10k, pins: [V5, OUT]}
"""
    found = cause_at("OUT", asked(tmp_path, parts, "2"))
    assert found.startswith("a threshold within its margin: U1 inputs")


def test_another_stable_state_is_named(tmp_path: Path) -> None:
    """Two gates that hold each other: what SPICE would show from the other side is a state of the same board."""
    parts = """\
  U1: {kind: buffer, family: lvc, pins: {A: HOLD, Y: OUT, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 10k, pins: [OUT, HOLD]}
  R2: {kind: resistor, ohms: 1M, pins: [HOLD, GND]}
"""
    board, both = asked(tmp_path, parts)
    node = board.network.node_index
    assert both.levels.volts[node["OUT"]] < 0.1
    high = both.spice.copy()
    high[[node["OUT"], node["HOLD"]]] = 5.0, 5.0 / 1.01
    found = causes(board, replace(both, spice=high), 0.1)
    assert found[node["OUT"]] == "another stable state: U1 A"


def test_droop_is_told_from_saturation(tmp_path: Path) -> None:
    """A transistor in its active range differs by its gain, one that is driven hard by its saturation voltage."""
    parts = """\
  R1: {kind: resistor, ohms: %s, pins: [IN, BASE]}
  Q1: {kind: npn, pins: {B: BASE, C: OUT, E: GND}}
  R2: {kind: resistor, ohms: %s, pins: [V5, OUT]}
"""
    active = cause_at("OUT", asked(tmp_path, parts % ("1M", "3k")))
    assert active == "beta droop: gain of Q1, neither cut off nor saturated"
    assert cause_at("OUT", asked(tmp_path, parts % ("1k", "50")), 0.01) == "saturation voltage of Q1"


def test_a_channel_is_named(tmp_path: Path) -> None:
    """A channel that carries much has a tenth more resistance in its full model."""
    parts = """\
  M1: {kind: nmos, threshold: 1.5, on_ohms: 3, gate_drive: 4.5, pins: {G: IN, D: OUT, S: GND}}
  R1: {kind: resistor, ohms: 10, pins: [V5, OUT]}
"""
    assert cause_at("OUT", asked(tmp_path, parts), 0.05) == "channel of M1: what its full model adds"


def test_pieces_are_what_is_left_of_plain_laws(tmp_path: Path) -> None:
    """With the same plain laws in SPICE nothing but the straight pieces differs; an overload is told with them."""
    parts = """\
  R1: {kind: resistor, ohms: 10, pins: [IN, A]}
  U1: {kind: buffer, family: hc, pins: {A: A, Y: OUT, VCC: V5, GND: GND}}
  R2: {kind: resistor, ohms: 10k, pins: [OUT, GND]}
"""
    question = asked(tmp_path, parts, "24", write_model=model_line)
    assert cause_at("A", question).startswith(f"{PIECES}: U1 carries")


def test_what_agrees_has_no_cause(tmp_path: Path) -> None:
    """A divider is the same in both worlds."""
    parts = """\
  R1: {kind: resistor, ohms: 1k, pins: [IN, A]}
  R2: {kind: resistor, ohms: 1k, pins: [A, GND]}
"""
    board, both = asked(tmp_path, parts)
    assert causes(board, both, 0.001) == {}


@pytest.mark.parametrize("volts", ["3.3", "4.6"])
def test_the_card_honours_the_common_mode_limit(tmp_path: Path, volts: str) -> None:
    """With both inputs nearer than 1.5 V to the supply the output lets go in both worlds, though INP lies below INN.

    LM393 data sheets: inputs from 0 V to VCC - 1.5 V; with both above, the output as a rule is off (from memory).
    """
    parts = """\
  R3: {kind: resistor, ohms: 1k, pins: [IN, REF]}
  R4: {kind: resistor, ohms: 20k, pins: [REF, GND]}
  U1: {kind: comparator, headroom: 1.5, pins: {INP: REF, INN: IN, OUT: OUT, VCC: V5, GND: GND}}
  R1: {kind: resistor, ohms: 10k, pins: [V5, OUT]}
"""
    board, both = asked(tmp_path, parts, volts)
    out = board.network.node_index["OUT"]
    lets_go = float(volts) > 3.5
    assert both.spice[out] == pytest.approx(5.0 if lets_go else 0.0, abs=0.1)
    assert both.levels.volts[out] == pytest.approx(both.spice[out], abs=0.05)
