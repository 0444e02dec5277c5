"""A small circuit file with every section but models, for the tests of the circuit file."""

BOARD = """\
format: 1
title: Porch light dimmer, lamp rail (invented for the tests)
supplies:
  VBAT: {volts: 12, ohms: 0.05, net: V12}
  START: {volts: 3.3, ohms: 1k}
power_states:
  battery: {on: [VBAT]}
  running: {on: [VBAT, START], after: 50ms, ramp: 2ms, switches: {SW1: closed}}
parts:
  R1: {kind: resistor, ohms: 10k, pins: [START, Q1_BASE]}
  R2: {kind: resistor, ohms: 100k, pins: [Q1_BASE, GND]}
  Q1: {kind: npn, pins: {B: Q1_BASE, C: EN, E: GND}}
  R3: {kind: resistor, ohms: 10k, tolerance: 1%, pins: [V5, EN]}
  U1: {kind: regulator, volts: 5, pins: {IN: V12, OUT: V5, GND: GND}}
  SW1: {kind: switch, pins: [EN, GND]}
copper:
  VIA1: {net: Q1_BASE, cuts_off: [R1.2], touch: [R1.2, Q1.B]}
rails:
  V5: {volts: 5, ohms: [400, 900]}
target: EN
probe_points:
  Q1.B: {seconds: 40, note: under the shield}
rules:
  - {monotonic: V5}
"""
