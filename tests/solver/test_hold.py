"""Pulsing that no start finds, against its closed form and against a power-up in time."""

from __future__ import annotations

import pytest
from bench import Bench

from seqsim.parts.capacitor import Capacitor
from seqsim.parts.regulator import Regulator
from seqsim.parts.resistor import Resistor
from seqsim.parts.supply import Supply
from seqsim.solver import Steadiness, static_gates
from seqsim.solver.course import Stage
from seqsim.solver.hold import pulsing
from seqsim.solver.plain import all_on
from seqsim.solver.transient import simulate


def board(amps: float) -> Bench:
    """A step-down of 5 V into 5 Ω with an undervoltage lock of 7.5 V, 8 % lower on the way down, on a weak supply."""
    chip = Regulator(
        name="U1", pins={"IN": "VIN", "OUT": "X", "GND": "GND"}, type="switching", volts=5, amps=3, efficiency=0.9,
        undervoltage=7.5, start_delay=0.0, ramp=1e-6,
    )  # fmt: skip
    return Bench(
        {"VIN": Supply(name="VIN", net="VIN", volts=12, ohms=0.05, amps=amps)},
        [
            chip, Resistor(name="R1", ohms=5, pins={"1": "X", "2": "GND"}),
            Capacitor(name="C1", farads=100e-6, pins={"1": "VIN", "2": "GND"}),
            Capacitor(name="C2", farads=1e-7, pins={"1": "X", "2": "GND"}),
        ],
    )  # fmt: skip


@pytest.mark.parametrize("amps", [0.48, 0.5, 0.6])
def test_every_start_misses_it(amps: float) -> None:
    """The starts end in regulation; held at its lock the load takes P/(η V), so its share of time is I η V/P.

    The same swing is what a power-up in time comes to.
    """
    made = board(amps)
    static = static_gates(made.network, {"VIN:applied": True})
    levels = made.solve()
    for found in (levels, made.solve(start=all_on(levels.system))):
        assert found.steadiness is Steadiness.STEADY
        assert found.at("VIN") > 11.9
    (swings,) = pulsing(made.network, (), static, levels)
    middle = 7.5 * 0.96
    share = amps * 0.9 * middle / (4.99**2 / 5)
    assert swings.pulses
    assert swings.loop == ("U1",)
    assert swings.at("VIN") == pytest.approx(middle, rel=1e-3)
    assert swings.at("X") == pytest.approx(4.99 * share, rel=0.01)
    course = simulate(made.network, (), [Stage("on", 0.0, static)], 0.05, static_gates(made.network, {}))
    assert course.mean("VIN", 0.02) == pytest.approx(swings.at("VIN"), abs=0.05)
    assert course.mean("X", 0.02) == pytest.approx(swings.at("X"), rel=0.03)


@pytest.mark.parametrize("amps", [0.9, 2.0])
def test_a_strong_supply_does_not_pulse(amps: float) -> None:
    """A supply that can feed the load at its lock has no such swing."""
    made = board(amps)
    static = static_gates(made.network, {"VIN:applied": True})
    assert list(pulsing(made.network, (), static, made.solve())) == []
