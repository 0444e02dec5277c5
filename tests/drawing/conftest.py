"""Circuits that the pictures are tried on."""

from __future__ import annotations

import pytest

from seqsim.circuit import Circuit, parse_circuit

EVERY_SHAPE = """\
format: 1
title: A board with every shape of symbol and a latch, invented for the tests
supplies:
  V3V3: {volts: 3.3}
  SET: {volts: 3.3, ohms: 1k, idle: low}
  RESET: {volts: 3.3, ohms: 1k, idle: low}
power_states:
  set: {on: [V3V3, SET]}
  hold: {on: [V3V3]}
parts:
  R1: {kind: resistor, ohms: 100k, pins: [SET, GND]}
  R2: {kind: resistor, ohms: 100k, pins: [RESET, GND]}
  U1: {kind: nor, pins: {A: RESET, B: QN, Y: Q, VCC: V3V3, GND: GND}}
  U2: {kind: nor, pins: {A: SET, B: Q, Y: QN, VCC: V3V3, GND: GND}}
  R3: {kind: resistor, ohms: 10k, pins: [Q, Q1_BASE]}
  Q1: {kind: npn, pins: {B: Q1_BASE, C: EN, E: GND}}
  R4: {kind: resistor, ohms: 10k, pins: [V3V3, EN]}
  R13: {kind: resistor, ohms: 1k, pins: [EN, Q2_BASE]}
  Q2: {kind: pnp, pins: {B: Q2_BASE, C: OUT, E: V3V3}}
  R5: {kind: resistor, ohms: 10k, pins: [OUT, GND]}
  Q3: {kind: npn, pins: {B: OUT, C: V3V3, E: FOLLOWER}}
  R6: {kind: resistor, ohms: 10k, pins: [FOLLOWER, GND]}
  U3: {kind: optocoupler, pins: {A: FOLLOWER, K: LED_K, C: LIGHT, E: GND}}
  R7: {kind: resistor, ohms: 330, pins: [LED_K, GND]}
  R8: {kind: resistor, ohms: 10k, pins: [V3V3, LIGHT]}
  U4: {kind: comparator, pins: {INP: LIGHT, INN: REF, OUT: CMP, VCC: V3V3, GND: GND}}
  R9: {kind: resistor, ohms: 10k, pins: [V3V3, REF]}
  R10: {kind: resistor, ohms: "?", pins: [REF, GND]}
  D1: {kind: diode, dual: series, pins: {A: GND, M: CMP, K: V3V3}}
  R11: {kind: resistor, ohms: 10k, pins: [V3V3, CMP]}
  S1: {kind: load_switch, pins: {IN: V3V3, EN: CMP, OUT: VSW, GND: GND}}
  LD1: {kind: load, ohms: 100, pins: [VSW, GND]}
  D2: {kind: diode, type: led, pins: {A: VSW, K: LAMP}}
  R14: {kind: resistor, ohms: 330, pins: [LAMP, GND]}
  U5: {kind: black_box, out: Z, high_when: "A > 1.5", pins: {A: CMP, Z: ZED, VCC: V3V3, GND: GND}}
  R12: {kind: resistor, ohms: 10k, pins: [ZED, GND]}
  JP1: {kind: jumper, closed: true, pins: [ZED, FAR]}
  L1: {kind: inductor, henries: 10u, pins: [FAR, END]}
  BT1: {kind: button, pins: [END, GND]}
  D3: {kind: diode, dual: common-cathode, pins: {A1: ZED, A2: LIGHT, K: JOINED}}
  M1: {kind: nmos, pins: {G: JOINED, D: PASSED, S: ZED}}
  R15: {kind: resistor, ohms: 47k, pins: [JOINED, GND]}
  R16: {kind: resistor, ohms: 47k, pins: [PASSED, GND]}
  U6: {kind: supervisor, threshold: 2.9V, pins: {SENSE: V3V3, OUT: PASSED, VCC: V3V3, GND: GND}}
target: EN
"""


@pytest.fixture(scope="session")
def every_shape() -> Circuit:
    return parse_circuit(EVERY_SHAPE.encode(), "every_shape.yaml")
