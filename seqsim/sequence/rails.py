"""Rails and target of a course: when they came up, and in which sense they did not."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from seqsim.circuit import Circuit
from seqsim.circuit.model import Rail
from seqsim.parts.overload import LimitedChip
from seqsim.sequence.result import RailUp, TargetUp
from seqsim.sequence.trace import Trace
from seqsim.solver.course import Course, What

HIGH = 0.7
"""Share of the largest volts of the healthy board from which a signal counts as high."""
STARTED = 0.3
"""Share of its nominal volts from which a rail counts as started (our judgement)."""
GONE = 0.1
"""Share of its nominal volts below which a rail counts as down (common practice: 10 and 90 %)."""
PULSES = 3
TAIL = 0.05
LATE = 0.2
LATE_SECONDS = 2e-3
"""A rail is late if it comes up later than on the healthy board by this share and so many seconds (our judgement)."""
SHORTEST_DIP = 1e-6


def trace_of(course: Course, net: str) -> Trace:
    """Return the volts of a net over a course."""
    return Trace(course.times, course.at(net))


def final_volts(course: Course, net: str, until: float) -> float:
    """Return the volts at a time; where gates still switch, the average over what came before, as a meter shows it."""
    trace = trace_of(course, net).until(until)
    start = max(until - TAIL, 0.75 * until)
    stage = max((e.seconds for e in course.events if e.what is What.STAGE and e.seconds < until), default=0.0)
    start = max(start, stage + 0.5 * (until - stage))
    busy = sum(1 for e in course.events if e.what is What.GATE and start < e.seconds < until)
    return trace.mean(start) if busy > PULSES else float(trace.volts[-1])


def window(rail: Rail) -> tuple[float, float]:
    """Return the volts between which a rail counts as up."""
    ends = rail.volts * (1 - rail.within), rail.volts * (1 + rail.within)
    return min(ends), max(ends)


def up_at(course: Course, rail: Rail, until: float) -> float | None:
    """Return when a rail was first up (s)."""
    spans = trace_of(course, rail.net).until(until).within(*window(rail))
    return spans[0][0] if spans else None


def asked_until(circuit: Circuit, healthy: Course, until: float) -> dict[str, float]:
    """Return up to when each rail is asked for: a power state may turn it off again on the healthy board."""
    found = {}
    states = [e.seconds for e in healthy.events if e.what is What.STAGE and e.seconds < until]
    for net, rail in circuit.rails.items():
        trace = trace_of(healthy, net).until(until)
        spans = trace.within(*window(rail))
        ends_up = bool(spans) and spans[-1][1] >= trace.times[-1]
        asked = [at for at in states if any(start < at < end for start, end in spans)]
        found[net] = asked[-1] if asked and not ends_up else until
    return found


def judge_rails(
    circuit: Circuit,
    course: Course,
    until: float,
    healthy: Mapping[str, float | None] | None = None,
    asked: Mapping[str, float] | None = None,
) -> tuple[RailUp, ...]:
    """Return every rail in the order of the file.

    ``healthy`` gives when each came up on the healthy board, ``asked`` up to when each is asked for.
    """
    found = []
    for net, rail in circuit.rails.items():
        low, high = window(rail)
        last = until if asked is None else asked[net]
        trace = trace_of(course, net).until(last)
        spans = trace.within(low, high)
        final = final_volts(course, net, last)
        first = spans[0][0] if spans else None
        came_up = low <= final <= high and first is not None
        gaps = [(one[1], two[0]) for one, two in pairwise(spans)]
        if spans and spans[-1][1] < trace.times[-1]:
            gaps.append((spans[-1][1], float(trace.times[-1])))
        dips = tuple(gap for gap in gaps if gap[1] - gap[0] > SHORTEST_DIP)
        restarts = starts_of(circuit, course, net, last)
        verdict = _verdict(rail, trace, final, spans, came_up=came_up, restarts=restarts)
        expected = None if healthy is None else healthy.get(net)
        if verdict == "up" and first is not None and expected is not None:
            late = first > expected * (1 + LATE) and first > expected + LATE_SECONDS
            verdict = "late" if late else verdict
        if last < until:
            final = final_volts(course, net, until)
            verdict = "up, then off" if verdict == "up" else verdict
        found.append(RailUp(net, rail.volts, first, final, came_up, verdict, dips))
    return tuple(found)


def starts_of(circuit: Circuit, course: Course, net: str, until: float) -> int:
    """Return how often what feeds a net started, up to a time."""
    gates = {
        f"{part.name}:on" for part in circuit.parts.values()
        if isinstance(part, LimitedChip) and part.pins["OUT"] == net
    }  # fmt: skip
    return sum(1 for e in course.events if e.what is What.GATE and e.on and e.name in gates and e.seconds <= until)


def _verdict(
    rail: Rail, trace: Trace, final: float, spans: list[tuple[float, float]], *, came_up: bool, restarts: int
) -> str:
    sign = -1.0 if rail.volts < 0 else 1.0
    nominal, ends, peak = abs(rail.volts), sign * final, float((sign * trace.volts).max())
    if came_up and spans[-1][1] >= trace.times[-1]:
        return "up"
    starts = len(Trace(trace.times, sign * trace.volts).within(STARTED * nominal, 1e9))
    if max(len(spans), starts, restarts) > PULSES:
        return "pulsing"
    if ends > nominal * (1 + rail.within):
        return "too high"
    if spans:
        return "collapsed"
    if peak >= STARTED * nominal and ends < 0.5 * peak:
        return "starts and collapses"
    return "low" if ends >= GONE * nominal else "missing"


def judge_target(circuit: Circuit, course: Course, until: float, level: float) -> TargetUp | None:
    """Return the target's history; ``level`` (V) is where it counts as high."""
    if circuit.target is None:
        return None
    trace = trace_of(course, circuit.target).until(until)
    spans = tuple(trace.within(level, float("inf")))
    stays = spans[-1][0] if spans and spans[-1][1] >= trace.times[-1] else None
    return TargetUp(circuit.target, stays, final_volts(course, circuit.target, until), spans)
