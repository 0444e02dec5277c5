"""What may be done to a board for a reading: its target forced, supplies limited, joints pressed, pins lifted."""

from __future__ import annotations

import numpy as np

from seqsim.circuit import OFF
from seqsim.diagnosis.conditions import conditions
from seqsim.diagnosis.foresight import Standing
from seqsim.diagnosis.hypotheses import Sort
from seqsim.diagnosis.offers import force, limit
from seqsim.diagnosis.predict import Branch, Predictor, carried
from seqsim.faults.fault import Kind
from seqsim.network import vary
from seqsim.readings import Intervention, Meter, Probe, measurement
from seqsim.readings.interventions import Forced, Limited
from seqsim.solver import Levels, solve_variant

MOST_LIFTED = 6
MOST_PRESSED, PRESSED_FROM = 4, 0.01
"""Joints that are pressed: no more than so many, each as likely as this to be open, its part to be dead."""
OVERDRAWN, OVERDRAWN_CHANCE = 3.0, 0.05
"""A supply is limited first where it may, with this chance, deliver so many times what a healthy board draws."""
HIGH_VOLTS = 0.5
"""A target above this counts as high where it is forced the other way: our judgement."""


def forced_target(standing: Standing) -> tuple[Intervention | None, tuple[str, ...]]:
    """Return how the target is held where a healthy board has it in the last state, and the rails that obey it."""
    circuit, desk = standing.circuit, standing.desk
    state = list(circuit.power_states)[-1]
    if circuit.target is None or state == OFF or not circuit.rails or circuit.target in circuit.rails:
        return None, ()
    levels = desk.benches[state].levels
    network = levels.system.variant

    def volts(levels: Levels, net: str) -> float:
        node = network.node(net)
        return float(levels.volts[node]) if node >= 0 else 0.0

    held = volts(levels, circuit.target)
    highest = max((volts(levels, net) for net in circuit.rails), key=abs)
    other = 0.0 if abs(held) > HIGH_VOLTS else highest
    opposite = Forced(place=circuit.target, volts=other, ohms=1.0)
    pulled = vary(desk.network, opposite.patches())
    against = solve_variant(pulled, desk.static(state), carried(levels.state, pulled))
    rails = tuple(
        net for net in circuit.rails if abs(volts(levels, net) - volts(against, net)) > abs(volts(levels, net)) / 2
    )
    return (force(circuit.target, held), rails) if rails else (None, ())


def limits_first(standing: Standing, meter: Meter) -> tuple[Limited, ...]:
    """Return the supplies to limit before power goes on, because a hypothesis in the running overdraws them."""
    circuit = standing.circuit
    if standing.state() != OFF:  # a limit that was set stays until the power goes off
        return tuple(each for each in standing.readings[-1].interventions if isinstance(each, Limited))
    if not standing.readings:
        return ()
    probes = [
        Probe(kind="current", place=supply, state=state)
        for state, power in circuit.power_states.items()
        for supply in power.on
    ]
    if not probes:
        return ()
    offered = [measurement(circuit, probe, meter) for probe in probes]
    leaders = [h for h in standing.leaders() if standing.hypotheses[h].sort is not Sort.PLACE]
    branches = [Branch(h, 1.0, standing.hypotheses[h].modes[0], 3) for h in (0, *leaders)]
    predictions = Predictor(standing.desk, conditions(offered), len(offered)).nominal(branches)
    amps = np.stack([np.asarray(each.convert(predictions.tips[:, k])) for k, each in enumerate(offered)], axis=1)
    found: dict[str, Limited] = {}
    for k, probe in enumerate(probes):
        healthy = float(abs(amps[0, k]))
        limited = limit(circuit, probe.place, healthy)
        over = np.abs(amps[:, k]) > max(OVERDRAWN * healthy, 2 * limited.amps)
        chance = sum(
            standing.probability[h] * over[predictions.branch == b].mean() for b, h in enumerate(leaders, start=1)
        )
        if chance > OVERDRAWN_CHANCE and (probe.place not in found or found[probe.place].amps < limited.amps):
            found[probe.place] = limited
    return tuple(found.values())


def lifted_pins(standing: Standing) -> list[str]:
    """Return the pins worth lifting: of suspected parts, on suspected nets."""
    circuit = standing.circuit
    pins = circuit.pins()
    places = [place for h in standing.leaders() for place in sorted(standing.hypotheses[h].places)]
    nets, parts = {p for p in places if p in circuit.nets()}, [p for p in places if p in circuit.parts]
    found = []
    for name in dict.fromkeys(parts):
        part = circuit.parts[name]
        found += [part.pin(pin) for pin in part.pins if pins[part.pin(pin)] in nets]
    return [pin for pin in dict.fromkeys(found) if pins[pin] not in circuit.grounds][:MOST_LIFTED]


def pressed_joints(standing: Standing) -> list[str]:
    """Return the pins worth pressing: whose joint may be open, or else their part dead, so that both look alike."""
    if not standing.readings:
        return []
    found: list[str] = []
    for h in standing.leaders():
        fault = standing.hypotheses[h].fault
        if fault is None or fault.kind is not Kind.JOINT or standing.probability[h] < PRESSED_FROM:
            continue
        part = fault.place.partition(".")[0]
        dead = sum(
            float(standing.probability[other]) for other in standing.leaders()
            if other != h and part in standing.hypotheses[other].places
        )  # fmt: skip
        if dead >= PRESSED_FROM:
            found.append(fault.place)
    return found[:MOST_PRESSED]
