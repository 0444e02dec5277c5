"""Events in words, and what keeps switching."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from seqsim.circuit import Circuit
from seqsim.parts import Part
from seqsim.parts.regulator import Regulator
from seqsim.quantity import Unit, format_quantity
from seqsim.sequence.rails import trace_of, window
from seqsim.sequence.result import Happening, Oscillation
from seqsim.solver.course import Course, Event, What

TOGETHER = 0.3e-6
"""Seconds within which events are told in one line."""
OFTEN = 6
"""Turns of one gate from which it counts as oscillating; what it does after as many is told in one line."""


@dataclass(frozen=True)
class Story:
    """Events of a course up to a time, for a circuit."""

    circuit: Circuit
    course: Course
    until: float
    target_level: float | None

    def happenings(self) -> tuple[Happening, ...]:
        """Return the events in words, those at one moment in one line."""
        single = sorted([*self._switching(), *self._nets()], key=lambda happening: happening.seconds)
        found: list[Happening] = []
        start = -1.0
        for happening in single:
            if found and happening.seconds - start <= TOGETHER and " goes on" not in happening.what:
                if happening.what not in found[-1].what.split(", "):
                    found[-1] = replace(found[-1], what=f"{found[-1].what}, {happening.what}")
                continue
            start = happening.seconds
            found.append(happening)
        return tuple(found)

    def oscillations(self) -> tuple[Oscillation, ...]:
        """Return every gate that kept switching, with the middle of its periods."""
        found = []
        for gate, times in self._turns().items():
            if len(times) < OFTEN or gate.endswith(":tripped"):  # the output that it stops is told
                continue
            period = median(b - a for a, b in pairwise(times))
            what = self._gate(Event(0.0, What.GATE, gate)) or gate
            found.append(Oscillation(what, period, times[0], times[-1], len(times)))
        return tuple(found)

    def _turns(self) -> dict[str, list[float]]:
        """Return when each gate of a rule turned on within one power state, at most."""
        network = self.course.variant.network
        driven = {network.gates[g] for gates in network.rule_gates for g in gates}
        found: dict[str, list[float]] = {}
        for event in self.course.events:
            if event.what is What.GATE and event.on and event.name in driven and event.seconds <= self.until:
                found.setdefault(event.name, []).append(event.seconds)
        return found

    def _switching(self) -> Iterator[Happening]:
        """Yield what power states, gates and enables did; each wording at most so often."""
        told: dict[str, int] = {}
        last: dict[str, float] = {}
        for event in self.course.events:
            if event.seconds > self.until:
                break
            words = self._word(event)
            if not words:
                continue
            told[words] = told.get(words, 0) + 1
            last[words] = event.seconds
            if told[words] <= OFTEN:
                yield Happening(event.seconds, words)
        for words, times in told.items():
            if times > OFTEN:
                yield Happening(last[words], f"{words}: it goes on, {times} times until here")

    def _word(self, event: Event) -> str:
        if event.what is What.STAGE:
            return f"power state {event.name}"
        if event.what is What.GATE:
            return self._gate(event)
        owner, _, row = event.name.partition("/")
        part = self.circuit.parts.get(owner)
        if row == "EN" and part is not None and "OUT" in part.pins and self._awake(owner, event.seconds):
            return f"{part.pins['OUT']} {'enabled' if event.on else 'disabled'}"
        if row == "undervoltage" and part is not None and isinstance(part, Regulator):
            return f"{part.pins[part.power_pin]} {'above' if event.on else 'below'} the undervoltage lock of {owner}"
        return ""

    def _awake(self, owner: str, seconds: float) -> bool:
        """Tell whether a chip had its supply at a moment."""
        awake = False
        for event in self.course.events:
            if event.seconds > seconds:
                break
            if event.what is What.ROW and event.name == f"{owner}/supply":
                awake = event.on
        return awake

    def _gate(self, event: Event) -> str:
        owner, _, label = event.name.partition(":")
        if owner in self.circuit.supplies:
            if label == "applied":
                return f"{owner} {'applied' if event.on else 'taken away'}"
            return ""
        part = self.circuit.parts.get(owner)
        if part is None:
            return ""
        if label == "closed":
            return f"{owner} {'closes' if event.on else 'opens'}"
        if label == "on":
            return f"{owner} {'starts' if event.on else 'stops'} {part.pins['OUT']}"
        if label == "tripped":
            return f"{owner} overloaded" if event.on else ""
        if label == "discharge":
            return f"{owner} discharges {part.pins['OUT']}" if event.on else ""
        return self._output(part, label, on=event.on)

    def _output(self, part: Part, label: str, *, on: bool) -> str:
        """Return what an output does: pulls its net, drives it, or lets go where it has no other side."""
        pin, _, side = label.rpartition(" ")
        if pin not in part.pins or side not in ("low", "high"):
            return ""
        net = part.pins[pin]
        if on:
            return f"{net} pulled low by {part.name}" if side == "low" else f"{net} driven high by {part.name}"
        other = f"{part.name}:{pin} {'high' if side == 'low' else 'low'}"
        complementary = other in self.course.variant.network.gate_index
        return "" if complementary else f"{net} released by {part.name}"

    def _nets(self) -> Iterator[Happening]:
        """Yield when rails came up and went down, and when the target rose and fell."""
        for net, rail in self.circuit.rails.items():
            spans = trace_of(self.course, net).until(self.until).within(*window(rail))
            for k, (start, end) in enumerate(spans[:OFTEN]):
                if start > 0:
                    yield Happening(start, f"{net} up" if k == 0 else f"{net} up again")
                if end < self.until and k < OFTEN - 1:
                    level = float(trace_of(self.course, net).since(end).volts[1:2].sum())
                    word = "too high" if abs(level) > abs(rail.volts) else "no longer up"
                    yield Happening(end, f"{net} {word}")
        target = self.circuit.target
        if target is None or self.target_level is None or target in self.circuit.rails:
            return
        for start, end in (
            trace_of(self.course, target).until(self.until).within(self.target_level, float("inf"))[:OFTEN]
        ):
            if start > 0:
                yield Happening(start, f"{target} high")
            if end < self.until:
                yield Happening(end, f"{target} low again")


def seconds_text(seconds: float) -> str:
    """Return a time with four digits, as the bench writes it."""
    return format_quantity(seconds, Unit.SECOND, 4)
