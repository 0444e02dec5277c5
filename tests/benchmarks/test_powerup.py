"""Power-up in time: how long a run takes, beside ngspice at equal accuracy, and every fault of the large boards.

Run with ``pytest -m benchmark tests/benchmarks/test_powerup.py -s``; the comparison needs ``ngspice`` in the path.
Times are the processor's, so that what else the machine does counts less.
"""

from __future__ import annotations

import importlib.util
import resource
import statistics
import subprocess
import tempfile
import time
from pathlib import Path
from types import ModuleType

import pytest

from seqsim.circuit import compile_network, read_circuit
from seqsim.faults import single_faults
from seqsim.sequence import power_up
from seqsim.sequence.rails import trace_of
from seqsim.sequence.timetable import timetable
from seqsim.solver.course import Course
from seqsim.solver.transient import simulate

pytestmark = pytest.mark.benchmark

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "sequence" / "golden"
RUNS = 9
STEPS = ("2m", "1m", "500u", "200u", "100u", "50u", "20u")
"""Longest steps that SPICE may take, tried from the longest on until every crossing is right."""


@pytest.fixture(scope="module")
def decks() -> ModuleType:
    """The script that runs the decks."""
    spec = importlib.util.spec_from_file_location("regenerate", GOLDEN / "regenerate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def crossings(course: Course, watched: list[tuple[str, float, int]]) -> list[float]:
    found = []
    for net, volts, direction in watched:
        trace = trace_of(course, net)
        spans = trace.within(volts, float("inf")) if direction > 0 else trace.within(-float("inf"), volts)
        found.append(next((start for start, _ in spans if start > 0), float("inf")))
    return found


def off(found: list[float], exact: list[float]) -> float:
    """Return the largest distance of crossings as a multiple of what is allowed (3 % or 50 µs)."""
    return max(abs(a - b) / max(0.03 * b, 50e-6) for a, b in zip(found, exact, strict=True))


@pytest.mark.parametrize("board", ["late_enable", "pass_gate", "two_rails", "schmitt_clock"])
def test_beside_spice(board: str, decks: ModuleType) -> None:
    """Time of one run, ours and SPICE's, where both place every crossing within 3 % or 50 µs."""
    watched = decks.WATCHED[board]
    deck = GOLDEN / f"{board}.cir"
    times, volts, _ = decks.run(deck, "ngspice", "1e-5", "2u")
    exact = [decks.crossing(times, volts[net.lower()], level, way) for net, level, way in watched]
    circuit = read_circuit(GOLDEN / f"{board}.yaml")
    network = compile_network(circuit)
    table = timetable(circuit, network)
    until = times[-1]
    taken = []
    for _ in range(RUNS + 1):
        start = time.process_time()
        course = simulate(network, (), table.stages, until, table.before)
        taken.append(time.process_time() - start)
    ours = statistics.median(taken[1:])
    empty = statistics.median(_nothing() for _ in range(RUNS))
    for step in STEPS:
        runs, theirs = [], []
        for _ in range(RUNS):
            start = _of_children()
            runs.append(decks.run(deck, "ngspice", "1e-3", step))
            theirs.append(_of_children() - start)
        got = []
        for net, level, way in watched:
            try:
                got.append(decks.crossing(runs[0][0], runs[0][1][net.lower()], level, way))
            except SystemExit:
                got.append(float("inf"))
        if off(got, exact) <= 1.0 or step == STEPS[-1]:
            beyond = statistics.median(theirs) - empty
            print(
                f"\n{board}: ours {ours * 1e3:.1f} ms ({course.steps} steps, off by "
                f"{off(crossings(course, watched), exact):.2f} of what is allowed), ngspice {beyond * 1e3:.1f} ms "
                f"beyond its start of {empty * 1e3:.1f} ms (longest step {step}, off by {off(got, exact):.2f}): "
                f"{beyond / ours:.1f} times"
            )
            break


def _of_children() -> float:
    """Return the processor's seconds of all engines that have run so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _nothing() -> float:
    """Return the processor's seconds in which the engine starts, reads and runs next to nothing."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text("nothing\nR1 a 0 1\nV1 a 0 1\n.op\n.control\nrun\nquit 0\n.endc\n.end\n", encoding="utf-8")
        start = _of_children()
        subprocess.run(["ngspice", "-b", str(path)], check=False, capture_output=True, cwd=folder)
        return _of_children() - start


@pytest.mark.parametrize("board", ["beehive_scale", "greenhouse_fan", "planetarium_supply", "organ_blower"])
def test_every_fault(board: str) -> None:
    """Every single fault of a large board: time and steps of the runs, and which hit a bound."""
    circuit = read_circuit(ROOT / "circuits" / f"{board}.yaml")
    network = compile_network(circuit)
    table = timetable(circuit, network)
    simulate(network, (), table.stages, table.end, table.before)
    taken, steps, bounds = [], [], []
    for fault in single_faults(circuit):
        from seqsim.faults import middle

        patches = fault.patches(middle(fault.severity))
        start = time.perf_counter()
        course = simulate(network, patches, table.stages, table.end, table.before)
        taken.append(time.perf_counter() - start)
        steps.append(course.steps)
        if course.bound:
            bounds.append(f"{fault.name} ({course.bound})")
    print(
        f"\n{board}: {len(taken)} faults, {statistics.median(taken) * 1e3:.1f} ms in the middle, "
        f"{statistics.mean(taken) * 1e3:.1f} ms on average, {max(taken):.2f} s at most; "
        f"{statistics.median(steps):.0f} steps in the middle, {max(steps)} at most; "
        f"bounds hit: {', '.join(bounds) or 'none'}"
    )


def test_healthy_run_and_odds() -> None:
    """A whole answer: the nominal board alone, and with 16 boards of other tolerances."""
    circuit = read_circuit(ROOT / "circuits" / "organ_blower.yaml")
    for draws in (0, 16):
        power_up("organ_blower", circuit, draws=draws)
        start = time.perf_counter()
        power_up("organ_blower", circuit, draws=draws)
        print(f"\norgan_blower, {draws} draws: {time.perf_counter() - start:.2f} s")
