"""Boards as they come: parts within their tolerances, device laws a little off, read by a meter with its own error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import OFF, Circuit, compile_network, state_gates
from seqsim.diagnosis.conditions import Desk, conditions, desk
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.spread import model_latents
from seqsim.logic.chain import chain
from seqsim.logic.reference import Reference
from seqsim.logic.situation import situation
from seqsim.network import Bridge, Effect, Knob, Network, Patch, Source, Turn, Variant, vary
from seqsim.network.network import Bools, Floats
from seqsim.readings import METER, Meter, Probe, Reading, measurement
from seqsim.readings.measurement import Measurement
from seqsim.solver import solve_variant, static_gates
from seqsim.solver.batch import Bench, bench

LAW_VOLTS, LAW_GAIN = 0.02, 0.2
"""Deviation of all junctions of a board together (V), and of all gains (logarithm): the model's law is not nature's."""
STEADY = 0
MOST_DRAWN = 2000
"""Boards that are drawn until one is of the make that the circuit file describes."""
LEAST_MOVE = 0.1
"""Volts by which a fault must move a reading to count among those that the readings can find."""


def bake(variant: Variant) -> Network:
    """Return a network whose values are those that knobs were turned to."""
    network, ports = variant.network, variant.ports
    assert (variant.port_of >= 0).all()
    hinges = network.hinges
    conductance, threshold = hinges.conductance.copy(), hinges.threshold.copy()
    weight = hinges.inject_weight.copy()
    conductance[:, variant.port_of] = ports.conductance
    threshold[:, variant.port_of] = ports.threshold
    weight[:, variant.port_of] = ports.inject_weight
    return replace(
        network,
        hinges=replace(hinges, conductance=conductance, threshold=threshold, inject_weight=weight),
        rows=replace(network.rows, rising=variant.rows.rising[0], falling=variant.rows.falling[0]),
    )


def drawn_network(network: Network, random: np.random.Generator, *, shifted: bool = False) -> Network:
    """Return a network with every knob drawn: log-normal factors, normal shifts.

    ``shifted`` moves all device laws of a board together and draws parts within their own spread alone, in place of
    the ranking's spread, which has the errors of the laws in it.
    """
    known, _, _ = model_latents(network)
    junctions, gains = random.normal(0, LAW_VOLTS), random.normal(0, LAW_GAIN)
    turns = []
    drawn = {}
    for key, knob in known.knobs.items():
        spread = network.knobs.get(key, knob).spread if shifted else knob.spread
        if spread <= 0 or not knob.turned:
            continue
        value = spread * random.normal()
        if shifted:
            value += _law(knob, junctions, gains)
        drawn[key] = float(np.exp(value)) if knob.neutral else float(value)
        turns.append(Turn(knob.owner, knob.name, drawn[key]))
    knobs = {key: _of_this_board(knob, drawn.get(key, 1.0)) for key, knob in network.knobs.items()}
    return replace(bake(vary(known, turns)), knobs=knobs)


def _of_this_board(knob: Knob, value: float) -> Knob:
    """Return a knob of a board whose part has a value of its own: a fault's factor counts from there."""
    if not knob.neutral:
        return knob
    return replace(
        knob,
        turned=tuple(
            each if each.effect is Effect.SCALE else replace(each, coefficient=each.coefficient * value)
            for each in knob.turned
        ),
    )


def _law(knob: Knob, junctions: float, gains: float) -> float:
    if knob.name.endswith("junction"):
        return junctions
    return gains if knob.name in ("gain", "transconductance") else 0.0


def desk_of(circuit: Circuit, network: Network) -> Desk:
    """Return a circuit made ready with another network in place of its own."""
    healthy, state = vary(network), None
    benches: dict[str, Bench] = {}
    for name in circuit.power_states:
        static = static_gates(network, state_gates(circuit, name))
        levels = solve_variant(healthy, static, state)
        benches[name], state = bench(network, static, levels), levels.state
    return Desk(circuit, network, benches)


@dataclass(frozen=True)
class Seen:
    """Tip volts (i, r) of readings on boards with faults, and which boards are steady wherever they are read (i,).

    A meter on a board that oscillates shows no number that a test could foretell.
    """

    tips: Floats
    good: Bools


def handled(network: Network, fault: Sequence[Patch], each: Measurement) -> Variant:
    """Return a board with a fault as it is while it is read: limited, pressed, an ammeter in the line of its supply."""
    (condition,) = conditions([each])
    on = [patch for patch in condition.patches if isinstance(patch, Bridge | Source)]
    off = [patch for patch in condition.patches if not isinstance(patch, Bridge | Source)]
    return vary(network, (*off, *fault, *on))


def seen(at: Desk, variants: Sequence[Variant], measurements: Sequence[Measurement]) -> Seen:
    """Go through the power states in their order and take the readings; what is done to a board is in its variant."""
    taken = {condition.state: condition for condition in conditions(measurements)}
    assert len(taken) == len(conditions(measurements))
    tips = np.zeros((len(variants), len(measurements)))
    good = np.ones(len(variants), dtype=np.bool_)
    starts = None
    for state, each in at.benches.items():
        solved = each.run(variants, starts)
        starts = [each.state_of(solved, k, v) for k, v in enumerate(variants)]
        if state in taken:
            condition = taken[state]
            solved = each.run(variants, starts, condition.probes(variants))
            tips[:, condition.readings] = solved.read
            good &= solved.steadiness == STEADY
    return Seen(tips, good & np.isfinite(tips).all(axis=1))


def displayed(
    probes: Sequence[Probe],
    measurements: Sequence[Measurement],
    tips: Floats,
    random: np.random.Generator,
    gains: dict[str, float] | None = None,
) -> tuple[Reading, ...]:
    """Return what a meter shows: one gain a function, uniform counts, rounded to its last digit, OL beyond its end.

    ``gains`` keeps the gains of a meter that reads again.
    """
    gains = {} if gains is None else gains
    readings = []
    for probe, each, tip in zip(probes, measurements, tips.tolist(), strict=True):
        function = each.kind.function(each.meter)
        assert function is not None
        shown = float(each.convert(tip))
        if np.isfinite(shown):
            gain = gains.setdefault(each.latent or "", float(random.uniform(-1, 1)))
            shown *= 1 + gain * float(each.gain_sd(shown)) * np.sqrt(3)
            shown += float(each.noise_sd(shown)) * np.sqrt(3) * float(random.uniform(-1, 1))
        if not np.isfinite(shown) or shown > each.most:
            readings.append(Reading(**dict(probe), value="OL"))
            continue
        digit = float(function.digit(shown))
        value = round(shown / digit) * digit
        readings.append(Reading(**dict(probe), value=float(f"{value:.6g}"), resolution=digit))
    return tuple(readings)


def chain_nets(circuit: Circuit) -> tuple[str, ...]:
    """Return the nets that the target's level rests on, in any power state."""
    reference = Reference.of(circuit)
    assert circuit.target is not None
    found: dict[str, None] = {}
    for state, power in circuit.power_states.items():
        if power.on:
            healthy = situation(circuit, state, network=reference.network)
            for step in chain(healthy, reference, circuit.target, deep=True).steps:
                found[step.label] = None
    return tuple(net for net in circuit.nets() if net in found and net not in circuit.grounds)


def chain_probes(circuit: Circuit) -> tuple[Probe, ...]:
    """Return volts at every net of the target's chain in each state with power, and ohms of the rails without."""
    volts = [
        Probe(kind="volts", place=net, state=state)
        for net in chain_nets(circuit)
        for state in circuit.power_states
        if state != OFF
    ]
    return (*volts, *(Probe(kind="ohms", place=rail.net, state=OFF) for rail in circuit.rails.values()))


class Boards:
    """Boards of one circuit with faults, drawn at random, and what a meter shows on them."""

    def __init__(self, circuit: Circuit, probes: Sequence[Probe], meter: Meter = METER) -> None:
        self.circuit = circuit
        self.probes = tuple(probes)
        self.desk = desk(circuit)
        self.network = compile_network(circuit)
        self.measurements = tuple(measurement(circuit, probe, meter) for probe in self.probes)

    def moves(self, faults: Sequence[Hypothesis], severities: Sequence[float]) -> Bools:
        """Tell which faults (f,) move a voltage that is read by more than 0.1 V on a nominal board."""
        return self.moved_by(
            [vary(self.network, _patches(fault, at)) for fault, at in zip(faults, severities, strict=True)]
        )

    def moved_by(self, variants: Sequence[Variant]) -> Bools:
        """Tell which variants (f,) of the network have a voltage that is read moved by more than 0.1 V."""
        found = seen(self.desk, [vary(self.network), *variants], self.measurements)
        volts = np.array([each.kind.name == "volts" for each in self.measurements])
        moved = (np.abs(found.tips[1:] - found.tips[0])[:, volts] > LEAST_MOVE).any(axis=1)
        return np.asarray(moved & found.good[1:])

    def cases(self, faults: Sequence[Hypothesis], random: np.random.Generator) -> list[tuple[Hypothesis, float]]:
        """Return faults with a severity drawn for each, those of them that move a voltage that is read."""
        severities = [drawn_severity(fault, random) for fault in faults]
        moved = self.moves(faults, severities)
        return [case for case, far in zip(zip(faults, severities, strict=True), moved, strict=True) if far]

    def draw(self, fault: Hypothesis, severity: float, random: np.random.Generator) -> tuple[Reading, ...] | None:
        """Return the readings of one board with a fault, or None where it is not steady."""
        at = self.drawn(random)
        found = seen(at, [vary(at.network, _patches(fault, severity))], self.measurements)
        return displayed(self.probes, self.measurements, found.tips[0], random) if found.good[0] else None

    def drawn(self, random: np.random.Generator) -> Desk:
        """Return a board of this make: without a fault, its rails read the ohms that the circuit file knows of them."""
        rails = [rail for rail in self.circuit.rails.values() if rail.ohms is not None]
        probes = [Probe(kind="ohms", place=rail.net, state=OFF) for rail in rails]
        read = [measurement(self.circuit, probe, METER) for probe in probes]
        windows = [rail.ohms for rail in rails if rail.ohms is not None]
        for _ in range(MOST_DRAWN):
            at = desk_of(self.circuit, drawn_network(self.network, random, shifted=True))
            tips = seen(at, [vary(at.network)], read).tips[0].tolist() if read else []
            ohms = [float(each.convert(tip)) for each, tip in zip(read, tips, strict=True)]
            if all(low <= each <= high for each, (low, high) in zip(ohms, windows, strict=True)):
                return at
        msg = "hardly a board reads the ohms that its circuit file knows of its rails"
        raise RuntimeError(msg)


def drawn_severity(fault: Hypothesis, random: np.random.Generator) -> float:
    """Return a severity drawn from a fault's distribution."""
    severity = fault.modes[0].severity
    return 1.0 if severity is None else float(random.choice(severity.points(501)))


def _patches(fault: Hypothesis, severity: float) -> tuple[Patch, ...]:
    return fault.modes[0].patches(severity)
