"""Boards for the tests of faults."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqsim.circuit import Circuit, find_circuit, read_circuit

FAN = """
format: 1
title: Vent flap of a seed store (invented)
supplies:
  VBAT: {volts: 12, spread: 2%, ohms: 0.05, amps: 3, net: V12}
  START: {volts: 3.3, ohms: 1k}
power_states:
  running: {on: [VBAT, START]}
parts:
  U2: {kind: regulator, volts: 5, power_good: [93%, 110%], pins: {IN: V12, OUT: V5, PG: PG_5V, GND: GND}}
  C1: {kind: capacitor, farads: 470u, pins: [V12, GND]}
  R1: {kind: resistor, ohms: 10k, pins: [V5, PG_5V]}
  R2: {kind: resistor, ohms: 10k, pins: [START, BASE]}
  Q1: {kind: npn, pins: {B: BASE, C: EN, E: GND}, package: T1}
  Q2: {kind: npn, pins: {B: PG_5V, C: EN2, E: GND}, package: T1}
  R3: {kind: resistor, ohms: 4k7, pins: [V5, EN]}
  R4: {kind: resistor, ohms: 4k7, pins: [V5, EN2]}
  U5: {kind: and, family: lvc, supply_volts: 5, pins: {A: EN, B: EN2, Y: OUT, VCC: V5, GND: GND}, package: IC5}
  U6: {kind: not, family: lvc, supply_volts: 5, pins: {A: OUT, Y: LAMP, VCC: V5, GND: GND}, package: IC5}
  R5: {kind: resistor, ohms: 1k, pins: [LAMP, V5]}
copper:
  VIA3: {net: BASE, cuts_off: [R2.2], touch: [R2.2, Q1.B]}
rails:
  V5: {volts: 5}
target: LAMP
"""


@pytest.fixture
def flap(tmp_path: Path) -> Circuit:
    """A board of eleven parts with two packages of two, a via, a battery and a signal from outside."""
    path = tmp_path / "flap.yaml"
    path.write_text(FAN, encoding="utf-8")
    return read_circuit(path)


@pytest.fixture(params=["inverting_npn", "greenhouse_fan", "organ_blower", "beehive_scale"])
def library(request: pytest.FixtureRequest) -> Circuit:
    """Boards of the library, small and large."""
    return read_circuit(find_circuit(request.param))
