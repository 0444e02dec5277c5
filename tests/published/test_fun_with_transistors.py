"""A divider-biased stage of a hobby page ("Fun with transistors", figures 6.1 and 6.2, seen), its transistor shorted.

The page gives the circuit; the volts are recomputed: by hand R1 ∥ RC against R2 ∥ RE, healthy with a gain of 100.
"""

from __future__ import annotations

import pytest
from ranked import ranked
from worked import Worked

STAGE = Worked(
    {"VCC": 12.0},
    """
    R1: {kind: resistor, ohms: 39k, pins: [VCC, B]}
    R2: {kind: resistor, ohms: 6k8, pins: [B, GND]}
    RC: {kind: resistor, ohms: 5k6, pins: [VCC, C]}
    RE: {kind: resistor, ohms: 1k2, pins: [E, GND]}
    Q1: {kind: npn, gain: 100, pins: {B: B, C: C, E: E}}
    """,
)


def test_healthy() -> None:
    """Base, emitter and collector: 1.73, 1.08 and 7.0 V."""
    assert [STAGE.volts(node) for node in "BEC"] == pytest.approx([1.73, 1.08, 7.0], abs=0.25)


def test_diagnosis() -> None:
    """2.068 V at all three nodes say that all terminals of the transistor are shorted."""
    assert "Q1:all shorted" in ranked(STAGE, ["B 2.068", "E 2.068", "C 2.068"]).first()


def test_all_terminals_shorted() -> None:
    """All three nodes stand at 2.068 V."""
    levels = STAGE.solve(*STAGE.fault("Q1:all shorted", 0.1))
    assert [levels.at(node) for node in "BEC"] == pytest.approx([2.068] * 3, abs=0.005)
