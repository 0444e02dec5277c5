"""Circuits that the tests change line by line."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from porch_light import BOARD

from seqsim.circuit import Circuit, parse_circuit


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
