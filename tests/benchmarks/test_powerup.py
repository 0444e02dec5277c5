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

import numpy as np
import pytest

from seqsim.circuit import compile_network, read_circuit
from seqsim.faults import middle, single_faults
from seqsim.sequence import power_up
from seqsim.sequence.rails import trace_of
from seqsim.sequence.timetable import timetable
from seqsim.solver.course import Course
from seqsim.solver.transient import lay_out, run, simulate

pytestmark = pytest.mark.benchmark

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "sequence" / "golden"
BOARDS = sorted(path.stem for path in (ROOT / "circuits").glob("*.yaml") if "." not in path.stem)
OUR_RUNS, RUNS, SESSION = 101, 5, 20
"""Runs of ours, sessions of SPICE, and further runs in each."""
USUAL = "1e-3"
"""SPICE's usual relative tolerance."""
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


@pytest.mark.parametrize("board", ["late_enable", "pass_gate", "two_rails", "schmitt_clock", "dozen_rails"])
def test_beside_spice(board: str, decks: ModuleType) -> None:
    """One run takes no longer than SPICE's, where both place every crossing within 3 % or 50 µs.

    Both are counted from a board that is read and laid out to the volts in memory: ours is `run` after `lay_out`;
    SPICE's is one more `run` of a session that has read its deck, without its start and without writing anything.
    SPICE may choose: its usual tolerance, and the longest step of `STEPS` with which its crossings are right.
    """
    watched = decks.WATCHED[board]
    deck = GOLDEN / f"{board}.cir"
    times, volts, _ = decks.run(deck, "ngspice", "1e-5", "2u")
    exact = [decks.crossing(times, volts[net.lower()], level, way) for net, level, way in watched]
    circuit = read_circuit(GOLDEN / f"{board}.yaml")
    network = compile_network(circuit)
    table = timetable(circuit, network)
    until = times[-1]
    course = simulate(network, (), table.stages, until, table.before)
    placed, ours = [], []
    for _ in range(OUR_RUNS):
        start = time.process_time()
        layout = lay_out(network)
        placed.append(time.process_time() - start)
        start = time.process_time()
        course = run(layout, table.stages, until, table.before)
        ours.append(time.process_time() - start)
    mine, error = statistics.median(ours), off(crossings(course, watched), exact)
    step, theirs = next((step, found) for step in STEPS if (found := _off_by(deck, step, decks, watched, exact)) <= 1)
    other = statistics.median(_seconds_a_run(deck, step) for _ in range(RUNS))
    print(
        f"\n{board}: ours {mine * 1e3:.2f} ms ({course.steps} steps, off by {error:.2f} of what is allowed; laid out "
        f"in {statistics.median(placed) * 1e3:.2f} ms), ngspice {other * 1e3:.2f} ms (longest step {step}, off by "
        f"{theirs:.2f}): {other / mine:.1f} times"
    )
    assert error <= 1
    assert mine <= other


def _off_by(
    deck: Path, step: str, decks: ModuleType, watched: list[tuple[str, float, int]], exact: list[float]
) -> float:
    """Return how far SPICE's crossings are off at a longest step; infinity if one is missing."""
    times, volts, _ = decks.run(deck, "ngspice", USUAL, step)
    try:
        return off([decks.crossing(times, volts[net.lower()], level, way) for net, level, way in watched], exact)
    except SystemExit:
        return float("inf")


def _seconds_a_run(deck: Path, step: str) -> float:
    """Return the processor's seconds of one further run in a session of the engine."""
    return (_session(deck, step, 1 + SESSION) - _session(deck, step, 1)) / SESSION


def _session(deck: Path, step: str, runs: int) -> float:
    """Return the processor's seconds of a session that reads a deck and runs it so many times."""
    text = deck.read_text(encoding="utf-8").replace("@RELTOL@", USUAL).replace("@STEP@", step)
    control = f".control\nrepeat {runs}\nrun\ndestroy all\nend\nquit 0\n.endc\n.end\n"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text(text.replace(".end\n", control), encoding="utf-8")
        start = _of_children()
        done = subprocess.run(["ngspice", "-b", str(path)], check=False, capture_output=True, text=True, cwd=folder)
        took = _of_children() - start
    assert done.stdout.count("No. of Data Rows") == runs, done.stderr
    return took


def _of_children() -> float:
    """Return the processor's seconds of all engines that have run so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.parametrize("board", BOARDS)
def test_every_fault(board: str) -> None:
    """Every single fault of every board ends with finite volts within the bounds; one that was hit is told."""
    circuit = read_circuit(ROOT / "circuits" / f"{board}.yaml")
    network = compile_network(circuit)
    table = timetable(circuit, network)
    simulate(network, (), table.stages, table.end, table.before)
    taken, steps, bounds = [], [], []
    for fault in single_faults(circuit):
        patches = fault.patches(middle(fault.severity))
        start = time.perf_counter()
        course = simulate(network, patches, table.stages, table.end, table.before)
        taken.append(time.perf_counter() - start)
        steps.append(course.steps)
        assert np.isfinite(course.volts).all(), fault.name
        assert course.bound or course.times[-1] >= table.end, fault.name
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
