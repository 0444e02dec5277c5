"""Unstable points where SPICE parks. These tests need the engine."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from seqsim.circuit import compile_network, read_circuit
from seqsim.spice.compare import Basin, SpiceState, compare, switch_levels
from seqsim.spice.engine import engine

LATCH = """\
format: 1
title: Two transistors that hold each other, invented for the tests
supplies:
  V5: {volts: 5, ohms: 0.1}
power_states:
  on: {on: [V5]}
parts:
  R1: {kind: resistor, ohms: 1k, pins: [V5, A]}
  R2: {kind: resistor, ohms: 1k, pins: [V5, B]}
  R3: {kind: resistor, ohms: 10k, pins: [A, BASE2]}
  R4: {kind: resistor, ohms: 10k, pins: [B, BASE1]}
  Q1: {kind: npn, pins: {B: BASE1, C: A, E: GND}}
  Q2: {kind: npn, pins: {B: BASE2, C: B, E: GND}}
"""


def test_a_latch_parked_in_its_middle_is_told(tmp_path: Path) -> None:
    """From nothing, SPICE finds the point where both sides are alike; a kick leads to a side, and that is compared."""
    path = tmp_path / "latch.yaml"
    path.write_text(LATCH, encoding="utf-8")
    circuit = read_circuit(path)
    network = compile_network(circuit)
    levels = switch_levels(circuit, network, "on", ())
    both = compare(engine(), circuit, network, levels, "on", basin=Basin.COLD)
    a, b = network.node_index["A"], network.node_index["B"]
    assert both.state is SpiceState.METASTABLE
    assert both.parked is not None
    assert abs(both.parked[a] - both.parked[b]) < 0.01
    assert abs(both.spice[a] - both.spice[b]) > 3


def test_a_healthy_board_comes_back_from_a_kick() -> None:
    """A board with one stable state is stable, and its points do not move."""
    from seqsim.circuit import find_circuit

    circuit = read_circuit(find_circuit("double_inversion"))
    network = compile_network(circuit)
    levels = switch_levels(circuit, network, "awake", ())
    both = compare(engine(), circuit, network, levels, "awake")
    assert both.state is SpiceState.STABLE
    assert np.nanmax(np.abs(both.difference)) < 0.05
