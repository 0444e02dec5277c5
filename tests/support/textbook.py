"""Circuits with one transistor as textbooks draw them, from a few resistors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pytest
from worked import Worked

SATURATION_AMPS = 1.76e-15
"""Saturation current (A) that drops 0.7 V at 1 mA: books count with 0.7 V whatever the current."""


def resistors(**ohms: tuple[str, str, str]) -> str:
    """Return one line for each resistor: its ohms and its two nets."""
    return "".join(
        f"{name}: {{kind: resistor, ohms: {value}, pins: [{first}, {second}]}}\n"
        for name, (value, first, second) in ohms.items()
    )


def bipolar(
    kind: str, gain: float, base: str = "B", collector: str = "C", emitter: str = "E", name: str = "Q1",
    milliamps: float = 1.0,
) -> str:  # fmt: skip
    """Return the line of a transistor with VBE = 0.7 V at a collector current (mA)."""
    pins = f"{{B: {base}, C: {collector}, E: {emitter}}}"
    amps = SATURATION_AMPS * milliamps
    return f"{name}: {{kind: {kind}, gain: {gain}, saturation_amps: {amps:.3g}, pins: {pins}}}\n"


def square_law(k: str, threshold: str, gate: str = "G", drain: str = "D", source: str = "S") -> str:
    """Return the line of an N-channel MOSFET with ID = (k/2)·(VGS − threshold)²."""
    pins = f"{{G: {gate}, D: {drain}, S: {source}}}"
    return f"M1: {{kind: nmos, transconductance: {k}, threshold: {threshold}, pins: {pins}}}\n"


@dataclass(frozen=True)
class Example:
    """A worked example: the circuit, and its answers.

    ``volts`` are by place, or by two places as ``C to E``; ``milliamps`` flow into pins. They hold within ``within``
    volts and the part ``share``, but for the places in ``saturated``: there the book counts with VCE = 0.2 V, which a
    transistor of these values does not have, and 0.2 V and twice the part are allowed.
    """

    supplies: Mapping[str, float]
    parts: str
    volts: Mapping[str, float] = field(default_factory=dict)
    milliamps: Mapping[str, float] = field(default_factory=dict)
    saturated: tuple[str, ...] = ()
    within: float = 0.05
    share: float = 0.03

    def check(self) -> Worked:
        """Assert every answer, and return the circuit for more."""
        circuit = Worked(self.supplies, self.parts)
        for place, expected in self.volts.items():
            first, _, second = place.partition(" to ")
            found = circuit.volts(first) - (circuit.volts(second) if second else 0.0)
            assert found == pytest.approx(expected, abs=0.2 if place in self.saturated else self.within), place
        for pin, expected in self.milliamps.items():
            share = 2 * self.share if self.saturated else self.share
            assert circuit.amps(pin) * 1e3 == pytest.approx(expected, rel=share), pin
        return circuit
