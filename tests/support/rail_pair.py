"""Two rails in a row and a supervisor behind them, as a circuit file."""

from __future__ import annotations

CHAIN = """\
format: 1
title: Two rails in a row, invented for the tests
supplies:
  VIN: {volts: 12, ohms: 0.05}
  GO: {volts: 3.3, ohms: 1k, idle: low}
power_states:
  waiting: {on: [VIN]}
  going: {on: [VIN, GO], after: 20ms}
parts:
  R9: {kind: resistor, ohms: 100k, pins: [GO, GND]}
  U1: {kind: regulator, type: switching, volts: 5, start_delay: 1ms, ramp: 2ms, power_good: [93%, 110%],
       pins: {IN: VIN, EN: GO, OUT: V5, PG: PG5, GND: GND}}
  C1: {kind: capacitor, farads: 22u, pins: [V5, GND]}
  LD1: {kind: load, ohms: 50, pins: [V5, GND]}
  R1: {kind: resistor, ohms: 10k, pins: [V5, PG5]}
  U2: {kind: regulator, volts: 3.3, start_delay: 1ms, ramp: 2ms,
       pins: {IN: V5, EN: PG5, OUT: V3, GND: GND}}
  C2: {kind: capacitor, farads: 10u, pins: [V3, GND]}
  LD2: {kind: load, ohms: 100, pins: [V3, GND]}
  U3: {kind: supervisor, threshold: 2.93V, delay: 30ms, output: open-drain, active: low,
       pins: {OUT: RESET, VCC: V3, GND: GND}}
  R2: {kind: resistor, ohms: 10k, pins: [V3, RESET]}
rails:
  V5: {volts: 5}
  V3: {volts: 3.3}
target: RESET
"""
