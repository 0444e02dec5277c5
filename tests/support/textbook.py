"""Circuits with one transistor as textbooks draw them, from a few resistors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pytest
from worked import Worked

SATURATION_AMPS = "1.76e-15"
"""Saturation current (A) that drops 0.7 V at 1 mA: books count with 0.7 V whatever the current."""


def resistors(**ohms: tuple[str, str, str]) -> str:
    """Return one line for each resistor: its ohms and its two nets."""
    return "".join(
        f"{name}: {{kind: resistor, ohms: {value}, pins: [{first}, {second}]}}\n"
        for name, (value, first, second) in ohms.items()
    )


def bipolar(kind: str, gain: float, base: str = "B", collector: str = "C", emitter: str = "E", name: str = "Q1") -> str:
    """Return the line of a transistor with VBE = 0.7 V at 1 mA."""
    pins = f"{{B: {base}, C: {collector}, E: {emitter}}}"
    return f"{name}: {{kind: {kind}, gain: {gain}, saturation_amps: {SATURATION_AMPS}, pins: {pins}}}\n"


def square_law(k: str, threshold: str, gate: str = "G", drain: str = "D", source: str = "S") -> str:
    """Return the line of an N-channel MOSFET with ID = (k/2)·(VGS − threshold)²."""
    pins = f"{{G: {gate}, D: {drain}, S: {source}}}"
    return f"M1: {{kind: nmos, transconductance: {k}, threshold: {threshold}, pins: {pins}}}\n"


@dataclass(frozen=True)
class Example:
    """A worked example: the circuit, and its answers.

    ``volts`` are by place, or by two places as ``C to E``; ``milliamps`` flow into pins. Tolerances are those of
    laws made of chords, against books that count with VBE = 0.7 V: 0.25 V and 15 %.
    """

    supplies: Mapping[str, float]
    parts: str
    volts: Mapping[str, float] = field(default_factory=dict)
    milliamps: Mapping[str, float] = field(default_factory=dict)

    def check(self) -> Worked:
        """Assert every answer, and return the circuit for more."""
        circuit = Worked(self.supplies, self.parts)
        for place, expected in self.volts.items():
            first, _, second = place.partition(" to ")
            found = circuit.volts(first) - (circuit.volts(second) if second else 0.0)
            assert found == pytest.approx(expected, abs=0.25), place
        for pin, expected in self.milliamps.items():
            assert circuit.amps(pin) * 1e3 == pytest.approx(expected, rel=0.15), pin
        return circuit
