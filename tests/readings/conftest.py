from __future__ import annotations

import pytest

from seqsim.circuit import Circuit, parse_circuit

BOARD = """
format: 1
title: Aquarium heater interlock            # invented scenario
supplies:
  VBAT:  {volts: 12, ohms: 0.05, amps: 2, net: V12}
  START: {volts: 3.3, ohms: 100}
  VNEG:  {volts: -5, ohms: 1, net: N5}
power_states:
  battery: {on: [VBAT]}
  running: {on: [VBAT, START, VNEG]}
parts:
  R1: {kind: resistor, ohms: 10k, tolerance: 1%, pins: [V12, BASE]}
  R2: {kind: resistor, ohms: 100k, tolerance: 1%, pins: [BASE, GND]}
  R3: {kind: resistor, ohms: 10k, tolerance: 1%, pins: [V12, EN]}
  R4: {kind: resistor, ohms: 4k7, tolerance: 1%, pins: [START, GND]}
  R5: {kind: resistor, ohms: 1k, tolerance: 1%, pins: [N5, GND]}
  R6: {kind: resistor, ohms: 15k, tolerance: 1%, pins: ["+3V3", GND]}
  R7: {kind: resistor, ohms: 100, tolerance: 1%, pins: [V12, "EN#"]}
  R8: {kind: resistor, ohms: 100, tolerance: 1%, pins: ["EN#", GND]}
  Q1: {kind: npn, pins: {B: BASE, C: EN, E: GND}}
copper:
  VIA3: {net: BASE, cuts_off: [R1.2], touch: [R1.2, Q1.B]}
target: EN
"""


@pytest.fixture(scope="session")
def board() -> Circuit:
    """An invented board whose names include awkward ones: `+3V3`, `EN#`."""
    return parse_circuit(BOARD)
