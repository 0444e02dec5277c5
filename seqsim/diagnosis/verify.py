"""A repaired board, judged: rail by rail, place by place, and what has still to be read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.conditions import Desk, desk
from seqsim.diagnosis.offers import Reach
from seqsim.diagnosis.proof import Healthy, example, healthy, proofs
from seqsim.diagnosis.ratios import measured
from seqsim.diagnosis.verified import Line, Required, Verification
from seqsim.faults import SubMode, find_fault, probe_cautions
from seqsim.readings import Condition, Number, Probe, Reading, Readings, Zone, measurement
from seqsim.readings.measurement import Measurement
from seqsim.solver import FLOATING_OHMS

WITHIN = 3.0
"""Standard deviations within which a reading is as on a healthy board."""
WORD_CHANCE = 0.1
"""A word that a healthy board shows with a smaller chance is off."""
FEEDS_OHMS = 10.0
"""A supply behind less than this (Ω) feeds the board, one behind more is a signal: our judgement."""
LEAST_SWING = 0.5
"""A place that no power state lifts above this (V) is called high or low by what the supplies give."""


@dataclass(frozen=True)
class _Wanted:
    probe: Probe
    why: str


def verify(circuit: Circuit, readings: Readings, repaired: Iterable[str] = ()) -> Verification:
    """Return whether readings are those of a board on which everything is as it should be.

    Parameters
    ----------
    circuit
        The board.
    readings
        What was measured after the repair.
    repaired
        Names of the faults that were repaired: what proves each repair has to be read, too.

    Raises
    ------
    UnknownPlaceError
        If the board has no such fault.
    """
    at = desk(circuit)
    faults = [find_fault(circuit, name) for name in repaired]
    taken = sorted(readings.readings, key=lambda reading: _order(circuit, reading))
    measurements = measured(at, taken, readings.meter)
    lines = _lines(at, taken, measurements) if taken else ()
    wanted = _wanted(circuit)
    shares = [(SubMode(f.name, 1.0, f.severity, f.patches), f.places) for f, _ in faults]
    for (fault, _), found in zip(faults, proofs(at, shares, readings.meter), strict=True):
        wanted += [_Wanted(proof.probe, f"proves that {fault.name} is gone") for proof in found]
    missing = _missing(at, wanted, taken, readings)
    off = any(line.verdict in ("low", "high", "off") for line in lines)
    return Verification(
        circuit=circuit.title or (circuit.file or ""),
        repaired=tuple(fault.name for fault, _ in faults),
        verdict="off" if off else "incomplete" if missing else "proved",
        readings=tuple(lines),
        missing=tuple(missing),
        cautions=tuple(dict.fromkeys(each.text for each in probe_cautions(circuit))),
    )


def _order(circuit: Circuit, reading: Probe) -> tuple[int, int]:
    """Return where a reading stands: by power state, in it rails in their order, the target, then all else."""
    states, rails = list(circuit.power_states), [*circuit.rails, circuit.target]
    return states.index(reading.state), rails.index(reading.place) if reading.place in rails else len(rails)


def _wanted(circuit: Circuit) -> list[_Wanted]:
    """Return what has to be read on any board: no short before power, the rails, the target in every state."""
    reach = Reach.of(circuit)
    powered = [state for state in circuit.power_states if state != OFF]
    feeds = dict.fromkeys(supply.net for supply in circuit.supplies.values() if supply.ohms < FEEDS_OHMS)
    wanted = [_Wanted(Probe(kind="ohms", place=net, state=OFF), "no short before power goes on") for net in feeds]
    if powered:
        wanted += [
            _Wanted(Probe(kind="volts", place=net, state=powered[-1]), "a rail that should be up")
            for net in circuit.rails
        ]  # fmt: skip
    if circuit.target is not None:
        wanted += [
            _Wanted(Probe(kind="volts", place=circuit.target, state=state), "the target in every power state")
            for state in powered
            if circuit.target not in circuit.rails or state != powered[-1]
        ]
    return [each for each in wanted if each.probe.place in reach]


def _missing(at: Desk, wanted: Sequence[_Wanted], taken: Sequence[Reading], readings: Readings) -> list[Required]:
    circuit = at.circuit
    done = {(reading.kind, reading.place, reading.state) for reading in taken}
    # that a signal is high or low is enough; a rail has to be measured
    done |= {("volts", r.place, r.state) for r in taken if r.kind == "logic" and r.place not in circuit.rails}
    left: dict[Probe, _Wanted] = {}
    for each in wanted:
        if (each.probe.kind, each.probe.place, each.probe.state) not in done:
            left.setdefault(each.probe, each)
    if not left:
        return []
    chosen = sorted(left.values(), key=lambda each: _order(circuit, each.probe))
    measurements = [measurement(circuit, each.probe, readings.meter) for each in chosen]
    whole = healthy(at, measurements)
    found = []
    for k, each in enumerate(chosen):
        low, high = _window(circuit, each.probe, whole, k)
        middle = (float(whole.mean[k]) if isinstance(low, str) or isinstance(high, str) else
                  float(measurements[k].invert((low + high) / 2)))  # fmt: skip
        found.append(Required(
            each.probe.place, each.probe.to, each.probe.kind, each.probe.state, low, high, measurements[k].unit.value,
            each.why, example(each.probe, measurements[k], middle), measurements[k].caution,
        ))  # fmt: skip
    return found


def _lines(at: Desk, taken: Sequence[Reading], measurements: Sequence[Measurement]) -> tuple[Line, ...]:
    whole = healthy(at, measurements)
    lines = []
    for k, (reading, each) in enumerate(zip(taken, measurements, strict=True)):
        low, high = _window(at.circuit, reading, whole, k)
        rail = at.circuit.rails.get(reading.place)
        last = reading.state == list(at.circuit.power_states)[-1]
        lines.append(Line(
            reading.place, reading.to, reading.kind, reading.state,
            reading.value, each.unit.value, low, high, _verdict(at, reading, each, whole, k),
            rail is not None and reading.kind == "volts" and last,
        ))  # fmt: skip
    return tuple(lines)


def _window(circuit: Circuit, probe: Probe, whole: Healthy, k: int) -> tuple[float | str, float | str]:
    """Return what is right at a place: what was found on good boards if the file says so, else what is predicted."""
    known = None if isinstance(probe, Reading) and probe.of_good else _known_ohms(circuit, probe)
    return known or whole.window(k)


def _known_ohms(circuit: Circuit, probe: Probe) -> tuple[float, float] | None:
    rail = circuit.rails.get(probe.place)
    plain = probe.kind == "ohms" and probe.to is None and not probe.interventions
    return rail.ohms if rail is not None and plain else None


def _verdict(at: Desk, reading: Reading, each: Measurement, whole: Healthy, k: int) -> str:
    """Return how a reading stands to a healthy board."""
    match each.observed:
        case Number(value=value):
            tip = float(each.invert(value))
            value = float(each.kind.convert(each.meter, tip))  # also where it is told beside a good board
            known = _known_ohms(at.circuit, reading)
            if known is not None:
                return "low" if value < known[0] else "high" if value > known[1] else "as_healthy"
            z = (tip - whole.mean[k]) / whole.deviation[k]
            if abs(z) > WITHIN:
                return "low" if z < 0 else "high"
            rail = at.circuit.rails.get(reading.place)
            if rail is not None and _is_up(at, reading) and abs(value - rail.volts) > rail.within * abs(rail.volts):
                return "low" if abs(value) < abs(rail.volts) else "high"
            return "as_healthy"
        case Zone():
            chance = float(each.chance(float(whole.mean[k]), float(whole.deviation[k]), _largest(at, each)))
            return "as_healthy" if chance > WORD_CHANCE else "off"
        case Condition(name="floating"):
            return "as_healthy" if abs(whole.ohms[k]) > FLOATING_OHMS else "off"
        case _:
            return "as_healthy" if bool(whole.restless[k]) else "off"


def _is_up(at: Desk, reading: Reading) -> bool:
    """Tell whether a rail has to be up where it was read: in the last power state, nothing done to the board."""
    last = reading.state == list(at.circuit.power_states)[-1]
    return reading.kind == "volts" and reading.to is None and last and not reading.interventions


def _largest(at: Desk, each: Measurement) -> float:
    """Return the largest level that a healthy board has at a place, in any power state."""
    levels = [bench.levels for bench in at.benches.values()]
    nodes = [one.system.variant.node(each.plus) if each.plus else -1 for one in levels]
    swing = max(
        (abs(float(one.volts[node])) for one, node in zip(levels, nodes, strict=True) if node >= 0), default=0.0
    )
    supplies = [abs(supply.volts) for supply in at.circuit.supplies.values()]
    return swing if swing > LEAST_SWING else float(np.max([1.0, *supplies]))
