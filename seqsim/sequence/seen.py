"""How well a power-up explains what was seen over time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.circuit import Circuit, compile_network
from seqsim.network import Network, Patch
from seqsim.network.network import Floats
from seqsim.readings import Seen
from seqsim.sequence.rails import HIGH
from seqsim.sequence.timetable import Timetable, timetable
from seqsim.sequence.trace import Trace
from seqsim.solver.course import Course
from seqsim.solver.transient import simulate

RIGHT = 0.99
"""Chance that what was seen is what the board did: a slip is as likely as with readings at rest (our judgement)."""
EARLY = 0.03
SOON = 1e-3
"""A time that was told is right to this share and so many seconds (our judgement)."""
READ_SHARE, READ_VOLTS = 0.05, 0.05
"""Standard deviation of volts told at a time: those of parts, meter and model together (our judgement)."""
PULSES = 3
LEAST_PULSE = 0.02
"""Share of the largest volts of the healthy board that pulses must have: a rail into a short gives no more."""
LOW = 0.3
"""Share of the largest volts of the healthy board up to which a signal counts as low."""
LEAST_VOLTS = 0.1
"""A place that stays below this on a healthy board is judged as if it swung by so much."""


@dataclass(frozen=True)
class Watched:
    """One thing that was seen, on the time axis of a run: from ``start`` (s) on, and what is high there."""

    seen: Seen
    start: float
    largest: float

    def trace(self, course: Course, until: float) -> Trace:
        """Return the volts of the place from the start on, up to the end of the power-up (s)."""
        return Trace(course.times, course.at(self.seen.place)).until(until).since(self.start)

    def window(self, trace: Trace, seconds: float) -> tuple[float, float]:
        """Return least and most volts around a time that was told (s from the start on)."""
        at = self.start + seconds
        span = max(EARLY * seconds, SOON)
        start, end = max(at - span, float(trace.times[0])), min(at + span, float(trace.times[-1]))
        inside = trace.volts[(trace.times > start) & (trace.times < end)]
        ends = np.interp([start, end], trace.times, trace.volts)
        return float(min(*ends, *inside)), float(max(*ends, *inside))

    def chance(self, course: Course, until: float) -> float:
        """Return the chance of having seen this on a board that does what the course says, up to its end (s)."""
        trace = self.trace(course, until)
        what = self.seen.what
        if self.seen.seconds is None:
            return RIGHT if self._behaves(trace) else 1 - RIGHT
        least, most = self.window(trace, self.seen.seconds)
        if what == "high":
            return RIGHT if most >= HIGH * self.largest else 1 - RIGHT
        if what == "low":
            return RIGHT if least <= LOW * self.largest else 1 - RIGHT
        volts = float(what)
        off = max(least - volts, volts - most, 0.0) / math.hypot(READ_VOLTS, READ_SHARE * volts)
        return (1 - RIGHT) + (2 * RIGHT - 1) * math.exp(-(off**2) / 2)

    def _behaves(self, trace: Trace) -> bool:
        spans = trace.within(HIGH * self.largest, math.inf)
        ends_high = bool(spans) and spans[-1][1] >= float(trace.times[-1])
        match self.seen.what:
            case "never high":
                return not spans
            case "stays high":
                return ends_high
            case "pulses":
                peak = float(trace.volts.max())
                return peak >= LEAST_PULSE * self.largest and len(trace.within(0.5 * peak, math.inf)) >= PULSES
            case _:
                return bool(spans) and not ends_high


@dataclass(frozen=True)
class Witness:
    """Everything that was seen, and the healthy power-up beside which it counts."""

    circuit: Circuit
    network: Network
    table: Timetable
    watched: tuple[Watched, ...]
    healthy: Course

    @classmethod
    def of(cls, circuit: Circuit, seen: Iterable[Seen]) -> Witness:
        """Return the witness of what was seen on a circuit; the run is long enough for every time told."""
        listed = tuple(seen)
        network = compile_network(circuit)
        usual = timetable(circuit, network)
        begins = {stage.name: stage.seconds for stage in usual.stages}
        starts = [begins[each.state] if each.state else 0.0 for each in listed]
        latest = [
            start + (each.seconds or 0.0) * (1 + EARLY) + SOON for start, each in zip(starts, listed, strict=True)
        ]
        table = timetable(circuit, network, max([usual.until, *latest]))
        healthy = simulate(network, (), table.stages, table.end, table.before)
        inside = healthy.times <= table.until
        watched = tuple(
            Watched(each, start, max(float(healthy.at(each.place)[inside].max()), LEAST_VOLTS))
            for each, start in zip(listed, starts, strict=True)
        )
        return cls(circuit, network, table, watched, healthy)

    def on(self, course: Course) -> Floats:
        """Return the chance (s,) of each thing that was seen, on a board that does what the course says."""
        return np.array([each.chance(course, self.table.until) for each in self.watched])

    def under(self, patches: Sequence[Patch]) -> Floats:
        """Return the chance (s,) of each thing that was seen, on a board with these patches."""
        return self.on(simulate(self.network, patches, self.table.stages, self.table.end, self.table.before))
