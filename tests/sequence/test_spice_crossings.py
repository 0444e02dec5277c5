"""Power-up in time against SPICE: when nets cross levels, on five boards with their decks beside them.

The decks use SPICE's own laws for transistors and diodes, switches with hysteresis for thresholds, capacitors as
timers. `golden/regenerate.py` runs them in ngspice and writes `golden/crossings.json`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from seqsim.circuit import compile_network, read_circuit
from seqsim.sequence.rails import trace_of
from seqsim.sequence.timetable import timetable
from seqsim.solver.course import Course
from seqsim.solver.transient import simulate

GOLDEN = Path(__file__).parent / "golden"
CROSSINGS: dict[str, Any] = json.loads((GOLDEN / "crossings.json").read_text(encoding="utf-8"))
BOARDS = [name for name in CROSSINGS if name != "engine"]
SHARE, SECONDS = 0.03, 50e-6
"""How far a crossing may lie off: 3 % of the time since its power state began, or 50 µs."""


def course_of(board: str) -> Course:
    circuit = read_circuit(GOLDEN / f"{board}.yaml")
    network = compile_network(circuit)
    table = timetable(circuit, network)
    return simulate(network, (), table.stages, table.until, table.before)


def first_crossing(course: Course, net: str, volts: float, *, rising: bool) -> float:
    trace = trace_of(course, net)
    spans = trace.within(volts, float("inf")) if rising else trace.within(-float("inf"), volts)
    return next(start for start, _ in spans if start > 0)


@pytest.mark.parametrize("board", BOARDS)
def test_crossings(board: str) -> None:
    """Every crossing lies within 3 % or 50 µs of SPICE's, whose own error is a twentieth of that or 5 µs."""
    course = course_of(board)
    stages = [event.seconds for event in course.events if event.what.value == "power state"]
    assert not course.bound
    for found in CROSSINGS[board]["crossings"]:
        since = max(at for at in stages if at <= found["fine"])
        allowed = max(SHARE * (found["fine"] - since), SECONDS)
        assert abs(found["reference"] - found["fine"]) < max(allowed / 20, 20e-6)
        ours = first_crossing(course, found["net"], found["volts"], rising=found["rising"])
        assert ours == pytest.approx(found["fine"], abs=allowed), (found["net"], found["volts"])
