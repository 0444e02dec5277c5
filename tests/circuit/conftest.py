"""Circuits that the tests change line by line."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from seqsim.circuit import Circuit, parse_circuit

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


@pytest.fixture
def board_text() -> str:
    """A good circuit file with every section but models."""
    return BOARD


@pytest.fixture
def changed() -> Callable[[str, str], str]:
    """The good file with one piece of text in the place of another."""

    def change(old: str, new: str) -> str:
        assert BOARD.count(old) == 1, f"{old!r} must stand once in the board"
        return BOARD.replace(old, new)

    return change


@pytest.fixture
def build() -> Callable[..., Circuit]:
    """A circuit from its parts: supplies V5 (5 V) and VIN (12 V), one state that applies both."""

    def make(parts: str, more: str = "") -> Circuit:
        head = """\
format: 1
supplies:
  V5: {volts: 5}
  VIN: {volts: 12}
power_states:
  on: {on: [V5, VIN]}
parts:
"""
        lines = "".join(f"  {line.strip()}\n" for line in parts.strip().splitlines())
        return parse_circuit(head + lines + more, "made.yaml")

    return make
