"""A board on the bench, read as `next` advises until it says that it is done: the whole job, without looking."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from part_table import Universe

from seqsim.circuit import Circuit
from seqsim.diagnosis import Diagnosis, advise, diagnose
from seqsim.diagnosis.advice import classes
from seqsim.diagnosis.alike import look_alikes
from seqsim.diagnosis.conditions import Desk, desk
from seqsim.diagnosis.foresight import Standing
from seqsim.diagnosis.handling import forced_target
from seqsim.diagnosis.hypotheses import Hypothesis, Sort, listed
from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.next_result import Step
from seqsim.diagnosis.offers import offers
from seqsim.diagnosis.rank import table_of
from seqsim.diagnosis.report import where_of
from seqsim.readings import Probe, Reading, Readings, measurement, parse_reading

MOST_READINGS = 25
Read = Callable[[Probe], Reading | None]
"""Takes a reading; None where it cannot be had."""


@dataclass(frozen=True)
class Job:
    """A job that came to its end: readings with their seconds, promised and delivered bits, and the last diagnosis."""

    readings: tuple[Reading, ...]
    seconds: float
    promised: tuple[float, ...]
    delivered: tuple[float, ...]
    stop: str
    found: Diagnosis | None


class Workshop:
    """One circuit with all that its boards share."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.desk: Desk = desk(circuit)
        self.listed = listed(circuit)
        self.alike = look_alikes(self.desk, self.listed)
        before = Standing.before(circuit, self.desk, self.alike)
        forced, driven = forced_target(before)
        near = sorted(set().union(*(h.places for h in self.listed)))
        probes = [each.probe for each in offers(circuit, near=near, forced=forced, driven=driven)]
        self.probes = tuple(probes)
        measurements = [measurement(circuit, probe) for probe in probes]
        self.universe = Universe(self.desk, measurements, table_of)
        self.listed = tuple(h for h in self.universe.table.hypotheses if h.sort is not Sort.PLACE)
        prior = np.array([h.prior for h in self.listed])
        self.before = self.universe.kept(Standing(self.desk, self.listed, prior / prior.sum(), 0.0, self.alike))

    def diagnosed(self, readings: tuple[Reading, ...]) -> Diagnosis:
        """Return the diagnosis of readings."""
        measurements = [measurement(self.circuit, reading) for reading in readings]
        table = self.universe.part(measurements)
        return diagnose(self.circuit, Readings(readings=readings), at=self.desk, table=table)

    def job(self, read: Read) -> Job:
        """Read a board as advised, the best reading first; one that cannot be had gives way to the next best."""
        standing, found = self.before, None
        readings: tuple[Reading, ...] = ()
        refused: set[Probe] = set()
        seconds = 0.0
        promised: list[float] = []
        delivered: list[float] = []
        while len(readings) < MOST_READINGS:
            advice = advise(standing)
            if advice.stop:
                return Job(readings, seconds, tuple(promised), tuple(delivered), advice.stop, found)
            for step in advice.next:
                probe = probe_of(self.circuit, step)
                shown = None if probe in refused else read(probe)
                if shown is not None:
                    break
                refused.add(probe)
            else:
                return Job(readings, seconds, tuple(promised), tuple(delivered), "nothing_read", found)
            before = _entropy(standing)
            readings = (*readings, shown)
            found = self.diagnosed(readings)
            standing = self.universe.standing(found, readings)
            seconds += step.seconds
            promised.append(step.bits)
            delivered.append(before - _entropy(standing))
        return Job(readings, seconds, tuple(promised), tuple(delivered), "too_many", found)


def probe_of(circuit: Circuit, step: Step) -> Probe:
    """Return the place, state and interventions of a reading that is advised."""
    return parse_reading(circuit, step.write).probe()


def _entropy(standing: Standing) -> float:
    """Return the entropy (bits) over what `next` tells apart."""
    p = classes(standing).probability
    p = p[p > 0] / p.sum()
    return float(-(p * np.log2(p)).sum())


def outcome(found: Diagnosis, fault: Hypothesis) -> dict[str, bool | int | float]:
    """Return whether the true group stands first, or among three, whether the place does, and the group's size."""
    where = where_of(found)  # empty where none of these explains the readings
    group = found.alike.group[fault.name]
    groups = [each.group for each in where if each.group >= 0]
    return {
        "first": groups[:1] == [group],
        "three": group in groups[:3],
        "place": any(each.place in fault.places for each in where[:1]),
        "there": any(fault.places & set(each.places) for each in where[:1]),
        "size": len(found.alike.members[group]),
        "stated": max((each.probability for each in where), default=0.0),
    }


def slipping(read: Read, random: np.random.Generator, others: tuple[Probe, ...]) -> tuple[Read, list[Probe]]:
    """Return a reader that slips now and then, though never twice at one place, and what it slipped at."""
    slipped: list[Probe] = []

    def slip(probe: Probe) -> Reading | None:
        shown = read(probe)
        if shown is None or probe in slipped or random.random() >= SLIP:
            return shown
        near = [other for other in others if (other.kind, other.state) == (probe.kind, probe.state) and other != probe]
        if isinstance(shown.value, float) and shown.value and (not near or random.random() < 0.5):
            factor = 1e3 if abs(shown.value) < 1 else 1e-3
            digit = None if shown.resolution is None else shown.resolution * factor
            slipped.append(probe)
            return shown.model_copy(update={"value": shown.value * factor, "resolution": digit})
        other = read(near[int(random.integers(len(near)))]) if near else None
        if other is None:
            return shown
        slipped.append(probe)
        return shown.model_copy(update={"value": other.value, "resolution": other.resolution})

    return slip, slipped
