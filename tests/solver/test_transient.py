"""Power-up in time against closed forms: charging, ramps, thresholds, oscillators."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st

from seqsim.network import Network, Patch, Turn
from seqsim.parts import KINDS
from seqsim.parts.part import Part
from seqsim.parts.supply import Supply
from seqsim.sequence.trace import Trace
from seqsim.solver import solve_variant, static_gates
from seqsim.solver.course import Course, Event, Stage, What
from seqsim.solver.system import LEAK
from seqsim.solver.transient import simulate


def part(kind: str, name: str, pins: Sequence[str] | dict[str, str], **values: Any) -> Part:
    return KINDS[kind](kind=kind, name=name, pins=pins, **values)


def resistor(name: str, ohms: float, first: str, second: str) -> Part:
    return part("resistor", name, [first, second], ohms=ohms)


def capacitor(name: str, farads: float, first: str, second: str = "GND") -> Part:
    return part("capacitor", name, [first, second], farads=farads)


def run(
    parts: Sequence[Part],
    until: float,
    *patches: Patch,
    volts: float = 5.0,
    ramp: float = 0.0,
    away: float | None = None,
) -> Course:
    """Return the course of a board whose supply V rises at once or in a ramp, and may be taken away again."""
    bench = Bench({"V": Supply(name="V", net="V", volts=volts, ohms=1e-3)}, parts)
    network: Network = bench.network
    off = static_gates(network, {})
    ramps = {"V:applied": ("V", "volts", ramp)} if ramp else {}
    stages = [Stage("on", 0.0, static_gates(network, {"V:applied": True}), ramps)]
    if away is not None:
        stages.append(Stage("off", away, off))
    return simulate(network, patches, stages, until, off)


def when(course: Course, name: str, *, on: bool = True) -> list[float]:
    """Return when a gate or row of this name turned on, or off."""
    return [event.seconds for event in course.events if event.name == name and event.on == on]


@settings(max_examples=25, deadline=None)
@given(ohms=st.floats(100, 1e6), farads=st.floats(1e-9, 1e-3), share=st.floats(0.05, 0.95), volts=st.floats(1, 50))
def test_resistor_and_capacitor(ohms: float, farads: float, share: float, volts: float) -> None:
    """A capacitor reaches a share s of its final volts after -RC ln(1 - s), within 1 % or 1 mV."""
    leak = 1 / (1e-9 + LEAK)  # of R2 and of what the solver gives every node
    tau, final = ohms * leak / (ohms + leak) * farads, volts * leak / (ohms + leak)
    parts = [resistor("R1", ohms, "V", "X"), capacitor("C1", farads, "X"), resistor("R2", 1e9, "X", "GND")]
    course = run(parts, 4 * tau, volts=volts)
    reached = Trace(course.times, course.at("X")).first_above(share * final)
    millivolt = 1e-3 * tau / (final * (1 - share))
    assert reached == pytest.approx(-tau * math.log(1 - share), rel=0.01, abs=max(millivolt, 2e-8))


def test_second_order() -> None:
    """Error control holds: on an exponential every point lies within 3 mV of 5 V (1 - exp(-t/RC))."""
    course = run([resistor("R1", 1e4, "V", "X"), capacitor("C1", 1e-6, "X")], 0.1)
    exact = 5 * (1 - np.exp(-course.times / 1e-2))
    assert np.abs(course.at("X") - exact).max() < 3e-3


def test_capacitive_divider() -> None:
    """Two capacitors in series share a step by their inverse capacitances."""
    parts = [capacitor("C1", 1e-6, "V", "X"), capacitor("C2", 3e-6, "X"), resistor("R1", 1e6, "X", "GND")]
    course = run(parts, 1e-3)
    assert course.at("X")[-1] == pytest.approx(5 / 4, rel=2e-3)


def test_soft_start_ramp() -> None:
    """A regulator starts after its delay and its output then rises in a straight line for the length of its ramp."""
    regulator = part("regulator", "U1", {"IN": "V", "OUT": "X", "GND": "GND"}, volts=3.3, start_delay=0.4e-3, ramp=2e-3)
    course = run([regulator, capacitor("C1", 1e-6, "X"), resistor("R1", 100, "X", "GND")], 10e-3, volts=5)
    (start,) = when(course, "U1:on")
    awake = when(course, "U1/supply")[0]
    assert start - awake == pytest.approx(0.4e-3, abs=1e-6)
    trace = Trace(course.times, course.at("X"))
    for share in (0.1, 0.5, 0.9):
        assert trace.first_above(share * 3.3) == pytest.approx(start + share * 2e-3, abs=10e-6)
    assert course.at("X")[-1] == pytest.approx(3.3, rel=2e-3)


def test_current_limit_charges_in_a_straight_line() -> None:
    """A capacitor too large for the ramp is charged by the current limit: t = C V / I."""
    regulator = part(
        "regulator", "U1", {"IN": "V", "OUT": "X", "GND": "GND"}, volts=3.3, amps=0.1, start_delay=0, ramp=1e-4,
        dropout=0.3,
    )  # fmt: skip
    course = run([regulator, capacitor("C1", 1e-3, "X")], 60e-3, volts=8)
    (start,) = when(course, "U1:on")
    reached = Trace(course.times, course.at("X")).first_above(3.0)
    assert reached is not None
    assert reached - start == pytest.approx(1e-3 * 3.0 / 0.1, rel=0.01)


def test_divider_sets_start_and_stop() -> None:
    """An enable divider with the pin's two currents starts and stops a regulator where the data sheets' formula says.

    R1 = (Vstart VENf/VENr - Vstop) / (Ip (1 - VENf/VENr) + Ih), R2 = R1 VENf / (Vstop - VENf + R1 (Ip + Ih)), with
    VENr 1.2 V, VENf 1.15 V, Ip 3.6 µA, Ih 3 µA: form of the TPS65261 data sheet, from memory, not checked against
    the text.
    """
    rising, falling, pulls, more = 1.2, 1.15, 3.6e-6, 3e-6
    start, stop = 8.0, 7.0
    upper = (start * falling / rising - stop) / (pulls * (1 - falling / rising) + more)
    lower = upper * falling / (stop - falling + upper * (pulls + more))
    regulator = part(
        "regulator", "U1", {"IN": "VIN", "OUT": "X", "GND": "GND", "EN": "EN"}, volts=3.3, start_delay=0, ramp=1e-3,
        enable_threshold=rising, enable_hysteresis=rising - falling, enable_current=pulls,
        enable_hysteresis_current=more,
    )  # fmt: skip
    parts = [
        resistor("R3", 1.0, "V", "VIN"), capacitor("C1", 10e-6, "VIN"), resistor("R4", 1e3, "VIN", "GND"),
        resistor("R1", upper, "VIN", "EN"), resistor("R2", lower, "EN", "GND"), regulator,
    ]  # fmt: skip
    course = run(parts, 0.2, volts=12, ramp=0.1, away=0.15)
    (on,), (off,) = when(course, "U1/EN"), when(course, "U1/EN", on=False)
    into = course.at("VIN")
    assert np.interp(on, course.times, into) == pytest.approx(start, rel=0.01)
    assert np.interp(off, course.times, into) == pytest.approx(stop, rel=0.01)


def test_schmitt_oscillator() -> None:
    """A Schmitt inverter with a resistor to its own input swings in RC ln(Vt+ (V - Vt-) / (Vt- (V - Vt+)))."""
    gate = part("not", "U1", {"A": "RC", "Y": "Y", "VCC": "V", "GND": "GND"}, family="hc", schmitt=True)
    low, high, _ = gate.thresholds()  # type: ignore[attr-defined]
    course = run([gate, resistor("R1", 100e3, "Y", "RC"), capacitor("C1", 100e-9, "RC")], 0.1)
    rises = when(course, "U1:Y high")[2:]
    period = 1e-2 * math.log(high * (5 - low) / (low * (5 - high)))
    assert np.diff(rises) == pytest.approx(period, rel=0.01)


def test_supervisor_waits() -> None:
    """A supervisor lets go its delay after its voltage is good, and the knob of its seconds stretches that."""
    supervisor = part(
        "supervisor", "U1", {"OUT": "RESET", "VCC": "V", "GND": "GND"}, threshold=4.38, delay=20e-3,
        output="open-drain",
    )  # fmt: skip
    parts = [supervisor, resistor("R1", 1e4, "V", "RESET")]
    for factor in (1.0, 1.5):
        course = run(parts, 0.1, Turn("U1", "seconds", factor), ramp=5e-3)
        (good,), (let_go,) = when(course, "U1/threshold"), when(course, "U1:OUT low", on=False)
        assert let_go - good == pytest.approx(factor * 20e-3, rel=1e-3)


def test_restart_pauses() -> None:
    """A regulator that drags its own weak supply below its undervoltage lock restarts, each time after its pause."""
    regulator = part(
        "regulator", "U1", {"IN": "VIN", "OUT": "X", "GND": "GND"}, volts=3.3, undervoltage=4.5, start_delay=1e-3,
        ramp=0.5e-3, restart_delay=5e-3,
    )  # fmt: skip
    parts = [
        resistor("R1", 10.0, "V", "VIN"), capacitor("C1", 10e-6, "VIN"), regulator, capacitor("C2", 10e-6, "X"),
        resistor("R2", 15.0, "X", "GND"),
    ]  # fmt: skip
    course = run(parts, 0.1)
    stops, starts = when(course, "U1:on", on=False), when(course, "U1:on")
    assert len(starts) > 5
    pauses = [later - before for before, later in zip(stops, starts[1:], strict=False)]
    assert pauses == pytest.approx([6e-3] * len(pauses), rel=1e-3)


def test_discharge() -> None:
    """A regulator whose enable goes away discharges its output with the time constant of what it discharges through."""
    regulator = part(
        "regulator", "U1", {"IN": "VIN", "OUT": "X", "GND": "GND", "EN": "V"}, volts=3.3, discharge=100.0,
        start_delay=0, ramp=1e-4,
    )  # fmt: skip
    bench = Bench(
        {name: Supply(name=name, net=name, volts=5.0, ohms=1e-3, idle="low") for name in ("V", "VIN")},
        [regulator, capacitor("C1", 10e-6, "X")],
    )
    network = bench.network
    on = static_gates(network, {"V:applied": True, "VIN:applied": True})
    disabled = static_gates(network, {"V:idle low": True, "VIN:applied": True})
    course = simulate(network, (), [Stage("on", 0.0, on), Stage("off", 5e-3, disabled)], 10e-3)
    ohms = 1 / (1 / 100.0 + 1 / 200e3)  # beside the regulator's own divider
    for share in (0.7, 0.3, 0.1):
        found = next(start for start, _ in Trace(course.times, course.at("X")).within(-1, share * 3.3) if start > 5e-3)
        assert found - 5e-3 == pytest.approx(-ohms * 10e-6 * math.log(share), rel=0.01)


def test_a_starved_step_down_ends() -> None:
    """A step-down behind 37 kΩ collapses as often as it starts; the run follows it without slow methods, to its end."""
    regulator = part(
        "regulator", "U1", {"IN": "VIN", "OUT": "X", "GND": "GND"}, type="switching", volts=5, start_delay=1e-3,
        ramp=2e-3,
    )  # fmt: skip
    parts = [resistor("R1", 37e3, "V", "VIN"), regulator, capacitor("C1", 22e-6, "X"), resistor("R2", 50, "X", "GND")]
    course = run(parts, 0.1, volts=12.0)
    assert course.bound == ""
    assert course.steps < 5000
    assert len(when(course, "U1:on")) > 50


def test_ends_at_the_steady_level() -> None:
    """When everything has settled, the course ends at what the steady solver gives from there."""
    transistor = part("npn", "Q1", ["B", "C", "E"])
    parts = [
        transistor, resistor("R1", 1e4, "V", "B"), resistor("R2", 1e3, "V", "C"), resistor("R3", 100, "E", "GND"),
        capacitor("C1", 1e-8, "C"), capacitor("C2", 1e-8, "B", "C"),
    ]  # fmt: skip
    course = run(parts, 0.05, ramp=1e-3)
    _, state, gates = course.ends[-1]
    levels = solve_variant(course.variant, gates, state)
    assert course.volts[-1] == pytest.approx(levels.volts, abs=1e-4)


def test_chatter_is_bounded() -> None:
    """A gate that is fed back to itself without delay chatters; the run slows it down, ends, and names it."""
    gate = part("not", "U1", {"A": "Y", "Y": "Y", "VCC": "V", "GND": "GND"}, family="hc")
    course = run([gate], 0.2)
    assert course.chatter == ("U1",)
    assert course.times[-1] == pytest.approx(0.2)
    assert course.steps < 20_000
    assert 1.0 < course.mean("Y", 0.1) < 4.0


def test_points_and_events_are_in_order() -> None:
    """Times never run backwards, and each event lies within the run."""
    gate = part("not", "U1", {"A": "RC", "Y": "Y", "VCC": "V", "GND": "GND"}, family="hc", schmitt=True)
    course = run([gate, resistor("R1", 1e4, "Y", "RC"), capacitor("C1", 1e-7, "RC")], 0.01)
    assert (np.diff(course.times) >= 0).all()
    assert [event.seconds for event in course.events] == sorted(event.seconds for event in course.events)
    assert course.events[0] == Event(0.0, What.STAGE, "on")
