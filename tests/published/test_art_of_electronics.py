"""Horowitz and Hill, *The Art of Electronics*, section 2.2.1: a transistor switches a lamp.

From memory, not checked against the text.
"""

from __future__ import annotations

import pytest
from worked import Worked


def test_a_switched_lamp() -> None:
    """A lamp of 100 mA at 10 V, 1 kΩ from 10 V to the base: 0.6 V and 9.4 mA there, about 0.1 A and 0.2 V beyond.

    The lamp stands as 100 Ω; a power transistor, so that 100 mA is far below what it is rated for.
    """
    switch = Worked(
        {"VCC": 10.0},
        """
        RB: {kind: resistor, ohms: 1k, pins: [VCC, B]}
        LAMP: {kind: load, ohms: 100, pins: [VCC, C]}
        Q1: {kind: npn, model: npn-power, pins: {B: B, C: C, E: GND}}
        """,
    )
    assert switch.volts("B") == pytest.approx(0.6, abs=0.25)
    assert switch.amps("Q1.B") == pytest.approx(9.4e-3, rel=0.15)
    assert switch.amps("Q1.C") == pytest.approx(0.1, rel=0.15)
    assert 0 < switch.volts("C") < 0.2
