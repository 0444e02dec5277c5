"""Readings beside the chain: where they are as on a healthy board, where they follow, and where the break is."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from seqsim.circuit import Circuit, Copper, copper_patches, resolve_place
from seqsim.faults import probe_cautions
from seqsim.logic.candidates import STIFF_OHMS, following, held
from seqsim.logic.chain import Chain, Step, chain, first_step
from seqsim.logic.explanation import Explanation
from seqsim.logic.flips import flips
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Named, Situation, known_state, point, situation
from seqsim.network import GROUND, Patch, Source
from seqsim.readings import METER, Meter, Number, Reading, Zone, format_reading, measurement
from seqsim.solver.sensitivity import node_impedance, sensitivities

DEVIATIONS = 3.0
"""A reading agrees within this many standard deviations of healthy boards and the meter."""
LEAST_TOLERANCE = 0.03
"""Volts by which a reading may differ anyway: about what the straight pieces of the device laws are worth."""


@dataclass(frozen=True)
class Mark:
    """One reading beside the healthy board.

    ``expected`` is what the healthy board shows, ``tolerance`` how far a reading may lie from it. For one that does
    not agree, ``predicted`` is what healthy parts make of the readings ``behind`` it, and ``follows`` tells whether
    it is that; None where nothing behind it was read.
    """

    reading: Reading
    place: str
    label: str
    depth: int | None
    volts: float
    expected: float
    tolerance: float
    agrees: bool
    predicted: float | None = None
    follows: bool | None = None
    behind: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "reading": format_reading(self.reading),
            "place": self.place,
            "net": self.label,
            "depth": self.depth,
            "volts": self.volts,
            "expected": self.expected,
            "tolerance": self.tolerance,
            "agrees": self.agrees,
            "predicted": self.predicted,
            "follows": self.follows,
            "behind": list(self.behind),
        }


@dataclass(frozen=True)
class Break:
    """Where the readings stop agreeing: ``place`` reads what nothing that was read behind it explains."""

    place: str
    volts: float
    expected: float
    behind: tuple[str, ...]
    between: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place,
            "volts": self.volts,
            "expected": self.expected,
            "behind": list(self.behind),
            "between": list(self.between),
        }


@dataclass(frozen=True)
class Comparison:
    """Readings in the order of the chain, the breaks, what to measure next, and readings that say nothing here."""

    marks: tuple[Mark, ...]
    breaks: tuple[Break, ...]
    ask: tuple[str, ...]
    unused: tuple[str, ...]
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "readings": [mark.to_dict() for mark in self.marks],
            "breaks": [each.to_dict() for each in self.breaks],
            "ask": list(self.ask),
            "unused": list(self.unused),
            "cautions": list(self.cautions),
        }


def explain_readings(
    name: str,
    circuit: Circuit,
    readings: Iterable[Reading],
    place: str | None = None,
    state: str | None = None,
    *,
    meter: Meter = METER,
    deep: bool = False,
) -> Explanation:
    """Return why a node of a measured board is at its level: the chain up to where the readings stop agreeing.

    Raises
    ------
    UnknownPlaceError
        If there is no such place or state.
    NoSteadyLevelError
        If no steady level is found.
    """
    reference = Reference.of(circuit)
    wanted = known_state(circuit, state)
    healthy = situation(circuit, wanted, network=reference.network)
    target = point(circuit, place)
    label = healthy.label_of.get(healthy.node(target), GROUND)
    links = chain(healthy, reference, label, deep=True)
    compared = _Comparing(circuit, reference, healthy, links, meter).compare(tuple(readings))
    broken = _as_measured(circuit, healthy, compared)
    now = situation(circuit, wanted, broken, network=reference.network)
    there = chain(now, reference, now.label_of.get(now.node(target), GROUND), deep=deep)
    shown = place or circuit.target or target
    before = reference.states[wanted].at(target.removesuffix("/pad")) if broken else None
    return Explanation(name, shown, now, reference, there, flips(now, reference, there), deep, before, compared)


@dataclass(frozen=True)
class _Comparing:
    circuit: Circuit
    reference: Reference
    healthy: Situation
    links: Chain
    meter: Meter

    def compare(self, readings: tuple[Reading, ...]) -> Comparison:
        marks: list[Mark] = []
        unused: list[str] = []
        for reading in readings:
            mark = self.mark(reading)
            if mark is None:
                unused.append(format_reading(reading))
            else:
                marks.append(mark)
        far = len(self.links.steps) + 1
        marks.sort(key=lambda mark: (far if mark.depth is None else mark.depth, mark.agrees))
        marks = [mark if mark.agrees else self.followed(mark, marks) for mark in marks]
        breaks = tuple(self.broken(mark) for mark in marks if mark.follows is False)
        ask = [] if breaks else [place for mark in marks if mark.follows is None for place in self.ask(mark)]
        cautions = tuple(caution.text for caution in probe_cautions(self.circuit))
        return Comparison(tuple(marks), breaks, tuple(dict.fromkeys(ask)), tuple(unused), cautions)

    def mark(self, reading: Reading) -> Mark | None:
        """Return a reading beside the healthy board, None if it is no voltage to ground in this state."""
        voltage = reading.kind in ("volts", "logic") and reading.to is None and not reading.interventions
        if not voltage or reading.state != self.healthy.state:
            return None
        at = measurement(self.circuit, reading, self.meter)
        where = resolve_place(self.circuit, reading.place)
        then = self.healthy.again(*at.patches)
        node = self.healthy.node(where.points[0])
        if then is None or node < 0 or len(where.points) > 1:
            return None
        label = self.healthy.label_of[node]
        expected = float(at.convert(then.volts(at.plus) - then.volts(at.minus)))
        swing = self.reference.swing(self.healthy, label)
        if isinstance(at.observed, Number) and reading.of_good:
            volts = at.observed.value * expected
            sd = math.hypot((1 + at.observed.value) * self.spread(node), at.observed.sd * expected)
            tolerance = max(DEVIATIONS * sd, LEAST_TOLERANCE)
        elif isinstance(at.observed, Number):
            volts = at.observed.value
            sd = float(np.hypot(self.spread(node), np.hypot(at.noise_sd(volts), volts * at.gain_sd(volts))))
            tolerance = max(DEVIATIONS * sd, LEAST_TOLERANCE)
        elif isinstance(at.observed, Zone) and reading.value in ("high", "low"):
            volts = swing.high if reading.value == "high" else swing.low
            tolerance = abs(swing.high - swing.low) / 2
        else:
            return None
        step = self.links.step(label)
        return Mark(
            reading, reading.place, label, None if step is None else step.depth, volts, expected, tolerance,
            agrees=abs(volts - expected) <= tolerance,
        )  # fmt: skip

    def step(self, label: str) -> Step | None:
        """Return the step at a net, also where the chain of the target does not go through it."""
        memo = self.healthy.memo
        if ("step", label) not in memo:
            found = self.links.step(label)
            if found is None and self.healthy.node(label) not in self.healthy.grounds:
                found = first_step(self.healthy, self.reference, label)
            memo["step", label] = found
        step: Step | None = memo["step", label]
        return step

    def spread(self, node: int) -> float:
        """Standard deviation (V) of a node among healthy boards."""
        memo = self.healthy.memo
        if "spread" not in memo:
            levels = self.healthy.levels
            knobs = tuple(levels.system.variant.network.knobs.values())
            moves = sensitivities(levels, node_impedance(levels), knobs)
            memo["spread"] = np.sqrt((moves**2).sum(axis=1))
        return float(memo["spread"][node])

    def behind(self, mark: Mark, marks: list[Mark]) -> list[Mark]:
        """Return the readings nearest behind one: at other points of its own net first, else along the chain."""
        own = [m for m in marks if m.label == mark.label and m is not mark and m.agrees]
        if own:
            return own
        found: list[Mark] = []
        waiting, seen = [mark.label], {mark.label}
        while waiting:
            step = self.step(waiting.pop(0))
            for cause in () if step is None else step.causes:
                for pin, _ in cause.towards:
                    there = self.healthy.label_of.get(self.healthy.node(pin))
                    if there is None or there in seen:
                        continue
                    seen.add(there)
                    # of several readings on one net, the one that is wrong is nearer to what goes wrong here
                    here = sorted((m for m in marks if m.label == there), key=lambda m: m.agrees)
                    found += here[:1]
                    if not here:
                        waiting.append(there)
        return found

    def followed(self, mark: Mark, marks: list[Mark]) -> Mark:
        """Return the mark of a wrong reading with what the readings behind it predict for its place."""
        behind = self.behind(mark, marks)
        if not behind and not self.ask(mark):
            # what it hangs on is nothing that could be read: the board's edge
            return replace(mark, predicted=mark.expected, follows=False)
        if not behind:
            return mark
        if behind[0].label == mark.label:
            predicted = float(np.mean([other.volts for other in behind]))
        else:
            forced = tuple(Source(other.label, GROUND, other.volts, STIFF_OHMS) for other in behind)
            then = self.healthy.again(*forced)
            if then is None:
                return mark
            predicted = then.volts(mark.label)
        middle = self.reference.swing(self.healthy, mark.label).middle
        near = abs(predicted - mark.volts) <= mark.tolerance
        same = (predicted > middle) == (mark.volts > middle) and (mark.expected > middle) != (mark.volts > middle)
        places = tuple(other.place for other in behind)
        return replace(mark, predicted=predicted, follows=near or same, behind=places)

    def broken(self, mark: Mark) -> Break:
        return Break(mark.place, mark.volts, mark.expected, mark.behind, tuple(self.between(mark)))

    def between(self, mark: Mark) -> list[str]:
        """Parts, copper and joints between a wrong reading and those behind it."""
        behind = [resolve_place(self.circuit, place) for place in mark.behind]
        if any(place.net == mark.label for place in behind):
            here = resolve_place(self.circuit, mark.place)
            copper = self.circuit.copper.values()
            found = [c.name for c in copper if any(_parts(c, here.points[0], o.points[0]) for o in behind)]
            ends = [p.points[0].removesuffix("/pad") for p in (here, *behind)]
            pads = [p.points[0].endswith("/pad") for p in (here, *behind)]
            joints = [f"the joint of {end}" for end, pad in zip(ends, pads, strict=True) if "." in end and not pad]
            return [*found, *joints] or [f"the copper of {mark.label}"]
        nets, waiting = {mark.label}, [mark.label]
        stop = {place.net for place in behind}
        while waiting:
            step = self.step(waiting.pop(0))
            for cause in () if step is None else step.causes:
                for pin, _ in cause.towards:
                    there = self.healthy.label_of.get(self.healthy.node(pin), GROUND)
                    if there not in nets | stop:
                        nets.add(there)
                        waiting.append(there)
        hanging = {there for net in nets for there in following(self.healthy, self.reference, net)}
        return self.on(nets | hanging, nets | stop)

    def on(self, nets: set[str], tracks: set[str]) -> list[str]:
        """Parts and supplies that lie on nets, and the named copper of ``tracks``, in the order of the file."""
        pins = self.circuit.pins()
        owners = [pin.partition(".")[0].partition(":")[0] for pin, net in pins.items() if net in nets]
        copper = [each.name for each in self.circuit.copper.values() if each.net in tracks]
        return list(dict.fromkeys([*owners, *copper]))

    def ask(self, mark: Mark) -> list[str]:
        """Nets to measure next: what the place of a wrong reading hangs on."""
        step = self.step(mark.label)
        if step is None:
            return []
        pins = [pin for cause in step.causes for pin, _ in cause.towards]
        labels = [self.healthy.label_of.get(self.healthy.node(pin), GROUND) for pin in pins]
        return [label for label in labels if label != GROUND]


def _parts(copper: Copper, first: str, second: str) -> bool:
    """Tell whether copper lies between two points of its net."""
    ends = [end.removesuffix("/pad") for end in (first, second)]
    sides = [end in copper.cuts_off for end in ends]
    return sides[0] != sides[1] and all("." in end or end == copper.net for end in ends)


def _as_measured(circuit: Circuit, healthy: Situation, compared: Comparison) -> list[Named]:
    """Return what holds a place at its reading, for each break and each wrong reading with nothing read behind it."""
    found = [(f"the break at {each.place}", _hold(circuit, healthy, each)) for each in compared.breaks]
    found += [
        (f"what was read at {mark.place}", (Source(mark.label, GROUND, mark.volts, STIFF_OHMS),))
        for mark in compared.marks
        if not mark.agrees and mark.follows is None
    ]
    return found


def _hold(circuit: Circuit, healthy: Situation, each: Break) -> tuple[Patch, ...]:
    place = resolve_place(circuit, each.place)
    pin = place.points[0].removesuffix("/pad")
    if "." not in pin or not any(resolve_place(circuit, other).net == place.net for other in each.behind):
        return (Source(healthy.label_of[healthy.node(place.points[0])], GROUND, each.volts, STIFF_OHMS),)
    for copper in circuit.copper.values():
        if copper.name in each.between and pin in copper.cuts_off:
            return (*copper_patches(circuit, copper.name), Source(pin, GROUND, each.volts, STIFF_OHMS))
    return held(pin, each.volts)
