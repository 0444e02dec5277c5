"""The sequencing rules of a circuit file, checked on a course."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from seqsim.circuit import Circuit
from seqsim.circuit.model import Before, Monotonic, NeverAbove, Off, Rises, Rule
from seqsim.quantity import Unit, format_quantity
from seqsim.sequence.rails import GONE, HIGH, trace_of, window
from seqsim.sequence.result import RuleCheck
from seqsim.solver.course import Course
from seqsim.wording.tables import volts

FALLS_BACK = 0.01
FALLS_BACK_VOLTS = 0.02
"""A rise that falls back by this share of its volts, and so many volts, is not monotonic (our judgement)."""
FROM = 0.1
"""A rise is timed from this share of its volts until it is up (desktop power supply guides: 10 % to 95 %)."""


@dataclass(frozen=True)
class RuleBook:
    """A circuit's rules; ``highest`` gives the largest volts of each net on the healthy board."""

    circuit: Circuit
    highest: Mapping[str, float]

    def check(self, course: Course, until: float, off: float | None) -> tuple[RuleCheck, ...]:
        """Return what each rule says of a course; ``off`` is when power was taken away."""
        return tuple(self._check(rule, course, until, off) for rule in self.circuit.rules)

    def level(self, net: str) -> tuple[float, float]:
        """Return the volts between which a net counts as up."""
        if net in self.circuit.rails:
            return window(self.circuit.rails[net])
        return HIGH * max(self.highest.get(net, 0.0), 0.1), float("inf")

    def nominal(self, net: str) -> float:
        """Return the volts that a net has when it is up."""
        rail = self.circuit.rails.get(net)
        return rail.volts if rail is not None else max(self.highest.get(net, 0.0), 0.1)

    def _check(self, rule: Rule, course: Course, until: float, off: float | None) -> RuleCheck:
        match rule:
            case Before():
                broken = self._before(rule, course, until)
            case NeverAbove():
                broken = _never_above(rule, course)
            case Rises():
                broken = self._rises(rule, course, until)
            case Monotonic():
                broken = self._monotonic(rule, course, until)
            case Off():
                broken = self._off(rule, course, off)
        at, why = broken or (None, "")
        return RuleCheck(rule_text(rule), broken is None, at, why)

    def up(self, net: str, course: Course, until: float) -> float | None:
        """Return when a net was first up (s)."""
        spans = trace_of(course, net).until(until).within(*self.level(net))
        return spans[0][0] if spans else None

    def _before(self, rule: Before, course: Course, until: float) -> tuple[float, str] | None:
        first, second = self.up(rule.first, course, until), self.up(rule.second, course, until)
        if second is None:
            if first is None or first + rule.most >= until:
                return None
            return first + rule.most, f"{rule.second} did not follow {rule.first}"
        if first is None:
            return second, f"{rule.second} came up, {rule.first} never did"
        gap = second - first
        if gap < rule.least:
            words = f"after {_seconds(gap)}" if gap >= 0 else f"{_seconds(-gap)} before it"
            return second, f"{rule.second} came up {words}"
        if gap > rule.most:
            return first + rule.most, f"{rule.second} came up after {_seconds(gap)}"
        return None

    def _rises(self, rule: Rises, course: Course, until: float) -> tuple[float, str] | None:
        up = self.up(rule.net, course, until)
        if up is None:
            return None
        rise = trace_of(course, rule.net).until(up)
        sign = np.sign(self.nominal(rule.net))
        spans = type(rise)(rise.times, sign * rise.volts).within(-np.inf, FROM * abs(self.nominal(rule.net)))
        took = up - (spans[-1][1] if spans else 0.0)
        if rule.least <= took <= rule.most:
            return None
        return up, f"it took {_seconds(took)}"

    def _monotonic(self, rule: Monotonic, course: Course, until: float) -> tuple[float, str] | None:
        up = self.up(rule.net, course, until)
        rise = trace_of(course, rule.net).until(until if up is None else up)
        level = np.sign(self.nominal(rule.net)) * rise.volts
        highest = np.maximum.accumulate(level)
        allowed = max(FALLS_BACK * abs(self.nominal(rule.net)), FALLS_BACK_VOLTS)
        fallen = np.flatnonzero(highest - level > allowed)
        if not len(fallen):
            return None
        k = int(fallen[0])
        return float(rise.times[k]), f"it fell back from {volts(float(highest[k]))}"

    def _off(self, rule: Off, course: Course, off: float | None) -> tuple[float, str] | None:
        if off is None:
            return None
        after = trace_of(course, rule.net).since(off)
        level = np.abs(after.volts)
        high = np.flatnonzero((level > GONE * abs(self.nominal(rule.net))) & (after.times > off + rule.within))
        if not len(high):
            return None
        k = int(high[0])
        return off + rule.within, f"it was still {volts(float(after.volts[k]))}"


def _never_above(rule: NeverAbove, course: Course) -> tuple[float, str] | None:
    over = course.at(rule.net) - course.at(rule.other)
    k = int(np.argmax(over > rule.by))
    if over[k] <= rule.by:
        return None
    return float(course.times[k]), f"it went up to {volts(float(over.max()))} above"


def rule_text(rule: Rule) -> str:
    """Return a rule in words."""
    match rule:
        case Before():
            return f"{rule.first} before {rule.second} by {_seconds(rule.least)} to {_seconds(rule.most)}"
        case NeverAbove():
            return f"{rule.net} never more than {volts(rule.by)} above {rule.other}"
        case Rises():
            return f"{rule.net} rises in {_seconds(rule.least)} to {_seconds(rule.most)}"
        case Monotonic():
            return f"{rule.net} rises without falling back"
        case Off():
            return f"{rule.net} down {_seconds(rule.within)} after power is taken away"


def _seconds(seconds: float) -> str:
    return format_quantity(seconds, Unit.SECOND)
