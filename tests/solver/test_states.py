"""Boards with no steady level, with two, and those that mode-Newton alone does not solve."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping

import numpy as np
import pytest
from bench import Bench
from random_board import make

from seqsim.circuit import compile_network, find_circuit, read_circuit, state_gates
from seqsim.faults import find_fault, middle
from seqsim.network import Bridge, Network, vary
from seqsim.network.network import Bools, Floats
from seqsim.solver import (
    Levels,
    State,
    Steadiness,
    Way,
    batch,
    fallback,
    plain,
    residual,
    solve,
    solve_variant,
    static_gates,
)
from seqsim.solver.plain import all_off, carried, enabled, settle
from seqsim.solver.system import System, flatten


@pytest.fixture
def ring() -> Bench:
    """An inverter whose output comes back to its input through 10 kΩ."""
    return Bench(
        {"V5": 5.0},
        [
            make("not", "U1", {"A": "IN", "Y": "OUT", "VCC": "V5", "GND": "GND"}, family="hc"),
            make("resistor", "R1", {"1": "OUT", "2": "IN"}, ohms=10e3),
        ],
    )


def test_an_inverting_loop_oscillates(ring: Bench) -> None:
    """The loop is named, and the level is the average of its two sides."""
    levels = ring.solve()
    assert levels.steadiness is Steadiness.OSCILLATES
    assert levels.loop == ("U1",)
    assert levels.at("OUT") == pytest.approx(2.5, abs=0.1)


def test_an_unpowered_chip_does_not_oscillate(ring: Bench) -> None:
    """Without its supply the same loop compares nothing with nothing, and rests."""
    levels = ring.solve(absent=["V5"])
    assert levels.steadiness is Steadiness.STEADY
    assert levels.at("OUT") == pytest.approx(0, abs=1e-6)


def test_bystanders_are_not_in_the_loop(ring: Bench) -> None:
    """Of two loops, one that rests and one that does not, only the restless one is named."""
    bench = Bench(
        {"V5": 5.0},
        [
            make("not", "U1", {"A": "IN", "Y": "OUT", "VCC": "V5", "GND": "GND"}, family="hc"),
            make("resistor", "R1", {"1": "OUT", "2": "IN"}, ohms=10e3),
            make("buffer", "U2", {"A": "HELD", "Y": "HELD", "VCC": "V5", "GND": "GND"}, family="hc"),
            make("not", "U3", {"A": "HELD", "Y": "Z", "VCC": "V5", "GND": "GND"}, family="hc"),
        ],
    )
    assert bench.solve().loop == ("U1",)


@pytest.fixture
def latch() -> Bench:
    """Two cross-coupled NAND gates, both inputs pulled up: the textbook's set-reset latch at rest."""
    return Bench(
        {"V5": 5.0},
        [
            make("nand", "U1", {"A": "S", "B": "QN", "Y": "Q", "VCC": "V5", "GND": "GND"}, family="hc"),
            make("nand", "U2", {"A": "R", "B": "Q", "Y": "QN", "VCC": "V5", "GND": "GND"}, family="hc"),
            make("resistor", "R1", {"1": "V5", "2": "S"}, ohms=10e3),
            make("resistor", "R2", {"1": "V5", "2": "R"}, ohms=10e3),
            make("resistor", "R3", {"1": "Q", "2": "GND"}, ohms=100e3),
            make("resistor", "R4", {"1": "QN", "2": "GND"}, ohms=100e3),
        ],
    )


@pytest.mark.parametrize(("set_", "reset", "q"), [("low", "high", 5.0), ("high", "low", 0.0)])
def test_a_latch_remembers(latch: Bench, set_: str, reset: str, q: float) -> None:
    """Set or reset once, then left alone: either state is steady, reached from where the latch was."""
    pulled = [Bridge(net, "GND", 1.0) for net, level in (("S", set_), ("R", reset)) if level == "low"]
    before = latch.solve(*pulled)
    after = latch.solve(start=before.state)
    assert after.steadiness is Steadiness.STEADY
    assert after.at("Q") == pytest.approx(q, abs=0.05)
    assert after.at("QN") == pytest.approx(5 - q, abs=0.05)


def test_a_latch_from_nowhere_still_settles(latch: Bench) -> None:
    """From all off both gates would switch together for ever; one at a time they come to rest on one side."""
    levels = latch.solve()
    assert levels.steadiness is Steadiness.STEADY
    assert abs(levels.at("Q") - levels.at("QN")) == pytest.approx(5, abs=0.1)


# ---- fallbacks -----------------------------------------------------------------------------------------------------


HARD = (
    "D4:short",
    "U5:all shorted",
    "Q2:B-C short",
    "R6:short",
    "C3:short",
    "Q1.E:joint open",
    "M1_GATE:short to VBLOW",
)
"""Faults of the greenhouse board in state running whose analog problems mode-Newton does not solve."""
Problem = tuple[System, Bools, Bools, State]


@pytest.fixture(scope="module")
def hard() -> list[Problem]:
    """Analog problems of a library board on which mode-Newton goes round in circles, in the order they come."""
    found: list[Problem] = []
    known = fallback.fall_back

    def noting(system: System, gates: Bools, allowed: Bools, start: State) -> tuple[Floats, Bools, Way]:
        found.append((system, gates, allowed, start))
        return known(system, gates, allowed, start)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fallback, "fall_back", noting)
        circuit = read_circuit(find_circuit("greenhouse_fan"))
        network = compile_network(circuit)
        state = "running"
        levels = healthy(network, [state_gates(circuit, passed) for passed in circuit.power_states])
        static = static_gates(network, state_gates(circuit, state))
        for name in HARD:
            fault, _ = find_fault(circuit, name)
            variant = vary(network, fault.patches(middle(fault.severity)))
            solve_variant(variant, static, carried(levels.state, flatten(variant)))
    assert found
    return found


def healthy(network: Network, states: list[Mapping[str, bool]]) -> Levels:
    """Levels of the last power state, each started from the one before."""
    levels = solve(network, gates=states[0])
    for gates in states[1:]:
        levels = solve(network, gates=gates, start=levels.state)
    return levels


@pytest.mark.parametrize("search", [fallback.one_at_a_time, fallback.line_search, fallback.source_stepping])
def test_each_fallback_solves_what_newton_does_not(hard: list[Problem], search: Callable[..., fallback.Found]) -> None:
    """Tried on its own, each solves some of them, and then no current is left over and every hinge is consistent."""
    solved = 0
    for system, gates, allowed, start in hard:
        found = search(system, gates, allowed, start)
        if found is None:
            continue
        solved += 1
        volts, conducting = found
        levels = Levels(
            system, volts, State(conducting, start.above, start.ratios), gates, Steadiness.STEADY, Way.NEWTON
        )
        assert np.abs(residual(levels)).max() < 1e-6
        across = system.across(volts)
        free = enabled(system, gates) & system.clamped
        assert across[free & conducting].min(initial=0.0) > -1e-5
        assert across[free & ~conducting].max(initial=0.0) < 1e-5
    assert solved > 0


def test_fallbacks_in_their_order(hard: list[Problem], monkeypatch: pytest.MonkeyPatch) -> None:
    """Where one gives up the next is asked, and the way says which it was; when all do, the board says so."""
    system, gates, allowed, start = next(
        problem for problem in hard if fallback.source_stepping(*problem) and fallback.line_search(*problem)
    )
    assert fallback.fall_back(system, gates, allowed, start)[2] is Way.ONE_AT_A_TIME
    monkeypatch.setattr(fallback, "one_at_a_time", lambda *_: None)
    assert fallback.fall_back(system, gates, allowed, start)[2] is Way.LINE_SEARCH

    def singular(*_: object) -> None:
        raise np.linalg.LinAlgError

    monkeypatch.setattr(fallback, "line_search", singular)
    assert fallback.fall_back(system, gates, allowed, start)[2] is Way.SOURCE_STEPPING
    monkeypatch.setattr(fallback, "source_stepping", lambda *_: None)
    assert fallback.fall_back(system, gates, allowed, start)[2] is Way.FAILED
    static = static_gates(system.variant.network, {})
    static[:] = gates
    assert settle(system, static, start).steadiness is not Steadiness.STEADY


def test_the_kernel_takes_the_same_ways() -> None:
    """Compiled, the same faults take the same fallbacks and give the same levels."""
    circuit = read_circuit(find_circuit("greenhouse_fan"))
    network = compile_network(circuit)
    levels = healthy(network, [state_gates(circuit, passed) for passed in circuit.power_states])
    static = static_gates(network, state_gates(circuit, "running"))
    made = batch.bench(network, static, levels)
    names = HARD
    faults = [find_fault(circuit, name)[0] for name in names]
    variants = [vary(network, fault.patches(middle(fault.severity))) for fault in faults]
    solved = made.run(variants)
    ways, steadiness = list(Way), list(Steadiness)
    for k, variant in enumerate(variants):
        plainly = solve_variant(variant, static, carried(levels.state, flatten(variant)))
        assert ways[solved.way[k]] is plainly.way
        assert steadiness[solved.steadiness[k]] is plainly.steadiness
        nodes = plainly.system.nodes
        assert solved.volts[k, :nodes] == pytest.approx(plainly.volts[:nodes], abs=1e-5)
    assert any(solved.way > 0)


INTERPRETED = """
import sys
import numpy as np
from seqsim.circuit import compile_network, find_circuit, read_circuit, state_gates
from seqsim.faults import find_fault, middle
from seqsim.network import vary
from seqsim.solver import Way, batch, fallback, kernel_fallback, solve, solve_variant, static_gates
from seqsim.solver.plain import carried
from seqsim.solver.system import flatten

forced, names = sys.argv[1], sys.argv[2:]
for name in ("one_at_a_time", "line_search"):
    if name == forced:
        break
    setattr(fallback, name, lambda *_: None)
    setattr(kernel_fallback, "_" + name, lambda *_: False)
circuit = read_circuit(find_circuit("greenhouse_fan"))
network = compile_network(circuit)
levels = None
for passed in circuit.power_states:
    levels = solve(network, gates=state_gates(circuit, passed), start=None if levels is None else levels.state)
static = static_gates(network, state_gates(circuit, "running"))
made = batch.bench(network, static, levels)
for name in names:
    fault, _ = find_fault(circuit, name)
    variant = vary(network, fault.patches(middle(fault.severity)))
    solved = made.run([variant])
    plainly = solve_variant(variant, static, carried(levels.state, flatten(variant)))
    apart = np.abs(solved.volts[0, : plainly.system.nodes] - plainly.volts[:-1]).max()
    print(list(Way)[solved.way[0]].name, plainly.way.name, apart < 1e-5)
"""


@pytest.mark.parametrize("forced", ["one_at_a_time", "line_search", "source_stepping"])
def test_each_fallback_of_the_kernel(forced: str) -> None:
    """With those before it switched off (and the kernel interpreted), each gives what the plain one gives."""
    done = subprocess.run(
        [sys.executable, "-c", INTERPRETED, forced, *HARD],
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        check=True,
        encoding="utf-8",
    )
    lines = [line.split() for line in done.stdout.splitlines()]
    assert len(lines) == len(HARD)
    for way, plainly, together in lines:
        assert way == plainly
        assert together == "True"
    assert forced.upper() in {way for way, _, _ in lines}


def test_a_set_of_modes_without_voltages_is_stepped_over(ring: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A singular matrix on the way is no end: the fallbacks go on from the start."""
    system = flatten(vary(ring.network))
    gates = static_gates(ring.network, {"V5:applied": True})
    known, calls = plain.linear, [0]

    def once(system: System, gates: Bools, state: State) -> Floats:
        calls[0] += 1
        if calls[0] == 1:
            raise np.linalg.LinAlgError
        return known(system, gates, state)

    monkeypatch.setattr(plain, "linear", once)
    volts, _, way = plain.newton(system, gates, all_off(system))
    assert way is Way.ONE_AT_A_TIME
    assert volts[system.variant.node("V5")] == pytest.approx(5, abs=1e-3)
