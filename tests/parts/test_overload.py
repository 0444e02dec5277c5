"""Hiccup after an overload: period and average by closed form, in time and at rest, and what starts all the same."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from bench import Bench
from pydantic import ValidationError

from seqsim.network import Turn, vary
from seqsim.parts.capacitor import Capacitor
from seqsim.parts.load_switch import LoadSwitch
from seqsim.parts.part import Part
from seqsim.parts.regulator import Regulator
from seqsim.parts.resistor import Resistor
from seqsim.solver import Steadiness, solve_variant, static_gates
from seqsim.solver.batch import bench
from seqsim.solver.course import Course, Stage, What
from seqsim.solver.transient import simulate

AMPS, TIME, PAUSE = 0.5, 2e-3, 15e-3


def regulator(**values: object) -> Regulator:
    given = {"volts": 5, "amps": AMPS, "overload": "hiccup", "hiccup_time": TIME, "hiccup_pause": PAUSE,
             "start_delay": 1e-3, "ramp": 1e-5}  # fmt: skip
    return Regulator(name="U1", pins={"IN": "V", "OUT": "X", "GND": "GND"}, **{**given, **values})


def load_switch(**values: object) -> LoadSwitch:
    given = {"amps": AMPS, "overload": "hiccup", "hiccup_time": TIME, "hiccup_pause": PAUSE}
    return LoadSwitch(name="U1", pins={"IN": "V", "OUT": "X", "EN": "V", "GND": "GND"}, **{**given, **values})


def board(chip: Part, ohms: float, farads: float = 1e-9) -> Bench:
    load = Resistor(name="R1", ohms=ohms, pins={"1": "X", "2": "GND"})
    return Bench({"V": 8.0}, [chip, load, Capacitor(name="C1", farads=farads, pins={"1": "X", "2": "GND"})])


def run(made: Bench, until: float, *patches: Turn) -> Course:
    on = static_gates(made.network, {"V:applied": True})
    return simulate(made.network, patches, [Stage("on", 0.0, on)], until, static_gates(made.network, {}))


def starts(course: Course) -> list[float]:
    return [e.seconds for e in course.events if e.what is What.GATE and e.name == "U1:on" and e.on]


@pytest.mark.parametrize(("chip", "delay"), [(regulator, 1e-3), (load_switch, 0.0)])
def test_period(chip: Callable[..., Part], delay: float) -> None:
    """Into 2 Ω the period is the time in the limit, the pause and the delay of a start; the average is its share."""
    course = run(board(chip(), 2.0), 0.2)
    period = TIME + PAUSE + delay
    found = starts(course)
    assert len(found) > 9
    assert np.diff(found) == pytest.approx(period, rel=2e-3)
    assert course.mean("X", found[1], found[5]) == pytest.approx(AMPS * 2.0 * TIME / period, rel=0.01)


def test_ramp_counts() -> None:
    """A ramp delays the limit: the output follows it until the load takes 98 % of the limit."""
    ramp = 4e-3
    course = run(board(regulator(ramp=ramp), 2.0), 0.2)
    reached = ramp * 0.98 * AMPS * 2.0 / 5
    assert np.diff(starts(course)) == pytest.approx(TIME + PAUSE + 1e-3 + reached, rel=2e-3)


def test_seconds_stretch() -> None:
    """The knob of a chip's seconds stretches time, pause and delay alike."""
    course = run(board(regulator(), 2.0), 0.2, Turn("U1", "seconds", 1.3))
    assert np.diff(starts(course)) == pytest.approx(1.3 * (TIME + PAUSE + 1e-3), rel=2e-3)


@pytest.mark.parametrize(("farads", "comes_up"), [(150e-6, True), (300e-6, False)])
def test_inrush(farads: float, comes_up: bool) -> None:  # noqa: FBT001
    """What the limit charges within the time, t = R C ln(I R/(I R - V)), is no overload; what takes longer is."""
    ohms = 30.0
    takes = ohms * farads * math.log(AMPS * ohms / (AMPS * ohms - 5))
    assert (takes < TIME) is comes_up
    course = run(board(regulator(), ohms, farads), 0.1)
    assert (len(starts(course)) == 1) is comes_up
    assert bool(course.at("X").max() > 4.9) is comes_up


@pytest.mark.parametrize(("chip", "delay"), [(regulator, 1e-3), (load_switch, 0.0)])
def test_at_rest(chip: Callable[..., Part], delay: float) -> None:
    """Both steady solvers say that it pulses, with the average of limit and pause; a light load settles."""
    del delay
    made = board(chip(), 1e3)
    healthy = made.solve()
    assert healthy.steadiness is Steadiness.STEADY
    short = vary(made.network, [Turn("R1", "ohms", 2e-3)])
    static = static_gates(made.network, {"V:applied": True})
    plain = solve_variant(short, static)
    assert plain.steadiness is Steadiness.OSCILLATES
    assert plain.pulses
    assert plain.loop == ("U1",)
    average = AMPS * 2.0 * TIME / (TIME + PAUSE)
    assert plain.at("X") == pytest.approx(average, rel=0.01)
    assert plain.swing is not None
    assert plain.swing[:, short.node("X")] == pytest.approx([0.0, AMPS * 2.0], abs=0.02)
    solved = bench(made.network, static, healthy).run([short])
    assert list(Steadiness)[solved.steadiness[0]] is Steadiness.OSCILLATES
    assert solved.volts[0, short.node("X")] == pytest.approx(average, rel=0.01)


def test_a_weaker_limit_trips_sooner() -> None:
    """The fault that lowers the limit lowers what counts as an overload with it."""
    made = board(regulator(), 20.0)
    assert made.solve().steadiness is Steadiness.STEADY
    assert made.solve(Turn("U1", "limit", 0.2)).pulses


def test_hiccup_needs_a_limit() -> None:
    """A load switch without limit cannot be overloaded; another word than the two is refused."""
    with pytest.raises(ValidationError, match="no current limit"):
        load_switch(amps=None)
    with pytest.raises(ValidationError, match="limits"):
        regulator(overload="sulks")
