"""Something at a place: wide deviations in every direction, so that a fault outside the list is still located.

The ranges and weights were found by trial on one circuit of 27 parts, with simulated boards whose faults were not in
the list; they are judgement that a measurement supports, no more.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from seqsim.circuit import Circuit, compile_network
from seqsim.faults.fault import PlaceHypothesis, SubMode
from seqsim.faults.nets import Nets
from seqsim.faults.severity import EvenSeverity
from seqsim.faults.single import open_joint
from seqsim.network import GROUND, Bridge, Effect, Knob, Move, Patch, Turn
from seqsim.parts.diode import Diode
from seqsim.parts.gate import LogicGate
from seqsim.parts.mosfet import Mosfet
from seqsim.parts.part import Part, Severity
from seqsim.parts.regulator import Regulator
from seqsim.quantity import Unit, format_quantity

PAIR = Severity("ohms", Unit.OHM, 0.1, 1e7)
SERIES = Severity("ohms", Unit.OHM, 1.0, 1e9)
VALUE = Severity("x", Unit.NUMBER, 1 / 30, 30.0)
GAIN = Severity("x", Unit.NUMBER, 0.005, 5.0)
STRENGTH = Severity("x", Unit.NUMBER, 1e-5, 3.0)
SOURCE_OHMS = Severity("x", Unit.NUMBER, 0.3, 1e5)
SOURCE_VOLTS = EvenSeverity("x", Unit.NUMBER, 0.0, 2.5)
TO_SUPPLY = Severity("ohms", Unit.OHM, 0.3, 1e6)
BETWEEN_NETS = Severity("ohms", Unit.OHM, 1.0, 1e6)
THRESHOLD = (-1.0, 5.0)
"""Gate threshold of a MOSFET (V)."""
JUNCTION = (-0.4, 0.6)
"""Shift of a junction's forward voltage (V)."""
THRESHOLD_POINTS = 12
"""Points of a range that are tried where a threshold of a rule moves."""
DROPOUT = (0.0, 5.0)
"""What a regulator's dropout gains (V): our judgement."""
STILL_PASSIVE = 0.95
"""Share of its threshold that a junction may lose."""
LEAST_THRESHOLD = 0.05
"""A rule's threshold below this (V) is a balance of two inputs, which may be off by half of what the supplies give."""
PIN_TO_SUPPLY_WEIGHT = 0.15
"""Weight of active terminals to ground or a supply, where every other family has 1."""
STRENGTHS = frozenset({"transconductance"})
"""Properties of MOSFETs that can all but vanish."""

_Family = tuple[float, list[SubMode]]


def something_at(circuit: Circuit, *, between_nets: bool = False) -> tuple[PlaceHypothesis, ...]:
    """Return one hypothesis for each part, supply and net; their weights are relative to each other.

    Parameters
    ----------
    between_nets
        Let nets also touch every other net. It doubles the cost and hardly changes an answer.
    """
    return tuple(_Places(circuit, between_nets=between_nets).all())


class _Places:
    """The generators of what can be anything."""

    def __init__(self, circuit: Circuit, *, between_nets: bool) -> None:
        self.circuit = circuit
        self.between_nets = between_nets
        self.nets = Nets(circuit)
        self.network = compile_network(circuit)
        self.knobs: dict[str, list[Knob]] = {}
        for (owner, _), knob in self.network.knobs.items():
            self.knobs.setdefault(owner, []).append(knob)
        levels = [0.0, *(supply.volts for supply in circuit.supplies.values())]
        self.span = max(levels) - min(levels) or 5.0

    def all(self) -> Iterator[PlaceHypothesis]:
        """Parts, then supplies, then nets; a supply that has the name of its net shares its place."""
        share = {name: 1 / len(parts) for parts in self.nets.packages.values() for name in parts}
        for name, part in self.circuit.parts.items():
            families = [*self.part(part), *self.turned(name, part)]
            if families:
                yield PlaceHypothesis(name, frozenset({name}), _weighted(families), share[name])
        for name, supply in self.circuit.supplies.items():
            if name != supply.net:
                yield PlaceHypothesis(name, frozenset({name, supply.net}), _weighted(self.turned(name, None)), 1.0)
        for net in self.nets.signals:
            families = [self.net(net)]
            if net in self.circuit.supplies and self.circuit.supplies[net].net == net:
                families += self.turned(net, None)
            if any(modes for _, modes in families):
                yield PlaceHypothesis(net, frozenset({net}), _weighted(families), 1.0)

    def part(self, part: Part) -> Iterator[_Family]:
        """Contacts between the terminals of a part, in series with each, and to ground or a supply."""
        pins = tuple(part.pins)
        pairs = [
            _contact(f"{first} to {second}", part.pin(first), part.pin(second), PAIR)
            for first, second in itertools.combinations(pins, 2)
            if part.pins[first] != part.pins[second]
        ]
        series = [_series(part, pin) for pin in pins if self.nets.joins(part.pins[pin], 1)]
        outside = [
            _contact(f"{pin} to {other}", part.pin(pin), other, TO_SUPPLY)
            for pin in pins
            for other in (GROUND, *self.nets.power)
            if not part.passive and other not in part.pins.values()
        ]
        yield from ((1.0, pairs), (1.0, series), (PIN_TO_SUPPLY_WEIGHT, outside))

    def net(self, net: str) -> _Family:
        """Contacts between a net and ground, each supply, and if wanted every other net."""
        found = [_contact(f"to {other}", net, other, PAIR) for other in (GROUND, *self.nets.power) if other != net]
        if self.between_nets:
            near = {GROUND, net, *self.nets.power}
            found += [_contact(f"to {o}", net, o, BETWEEN_NETS) for o in self.nets.signals if o not in near]
        return 1.0, found

    def turned(self, owner: str, part: Part | None) -> Iterator[_Family]:
        """Each property of a part or supply, far from what it should be.

        A rule has one threshold for all severities of a variant, so where a knob moves a threshold each point is a
        mode of its own.
        """
        for knob in self.knobs.get(owner, ()):
            if not knob.turned:  # it matters to time alone
                continue
            severity = self.range(knob, part)
            if any(turned.effect is Effect.ROW for turned in knob.turned):
                yield 1.0, [_turn_to(knob, at) for at in severity.points(THRESHOLD_POINTS).tolist()]
            else:
                yield 1.0, [_turn(knob, severity)]

    def range(self, knob: Knob, part: Part | None) -> Severity:
        """How far a property may go."""
        effects = {turned.effect for turned in knob.turned}
        if effects == {Effect.ROW}:
            nominal, span = self.threshold(knob, part)
            low, high = 0.01 * span, 0.99 * span
            if knob.neutral:
                return EvenSeverity("x", Unit.NUMBER, low / nominal, high / nominal)
            return EvenSeverity("shift", Unit.VOLT, low - nominal, high - nominal)
        if knob.neutral == 0:
            return EvenSeverity("shift", Unit.VOLT, *self.shift(knob, part))
        if knob.name == "volts":
            return SOURCE_VOLTS
        if part is None:
            return SOURCE_OHMS
        return GAIN if Effect.GAIN in effects else STRENGTH if knob.name in STRENGTHS else VALUE

    def shift(self, knob: Knob, part: Part | None) -> tuple[float, float]:
        """Shift in volts of a MOSFET's threshold, a dropout, a Zener voltage or a junction.

        A junction never conducts at zero volts, where a larger shift would make a source of it.
        """
        if knob.name == "threshold" and isinstance(part, Mosfet):
            return THRESHOLD[0] - part.threshold, THRESHOLD[1] - part.threshold
        if isinstance(part, Regulator):
            return DROPOUT
        low, high = JUNCTION
        if knob.name.endswith("zener volts") and isinstance(part, Diode):
            low, high = -part.zener_volts, (SOURCE_VOLTS.high - 1) * part.zener_volts
        roles = {turned.role for turned in knob.turned}
        starts = self.network.hinges.threshold[0]
        own = [float(starts[k]) for k in self.network.hinges_of[knob.owner] if self.network.roles[k] in roles]
        return max(low, -STILL_PASSIVE * min(own)), high

    def threshold(self, knob: Knob, part: Part | None) -> tuple[float, float]:
        """Nominal threshold (V) that a knob moves, and the span (V) in which it may lie."""
        if isinstance(part, LogicGate):
            falling, rising, _ = part.thresholds()
            return (falling + rising) / 2, part.nominal_supply
        roles = {turned.role for turned in knob.turned if turned.effect is Effect.ROW}
        rows = self.network.rows
        levels = [
            (float(rows.rising[k]) + float(rows.falling[k])) / 2
            for k in self.network.rows_of.get(knob.owner, ())
            if self.network.row_names[k] in roles
        ]
        nominal = abs(levels[0]) if levels else 0.0
        if nominal > LEAST_THRESHOLD:
            return nominal, 2 * nominal
        return self.span / 2, self.span


def _weighted(families: Iterable[_Family]) -> tuple[SubMode, ...]:
    """Give each family its weight, shared equally among its modes, and let all add up to one."""
    kept = [(weight, modes) for weight, modes in families if modes]
    total = sum(weight for weight, _ in kept)
    return tuple(replace(mode, weight=weight / total / len(modes)) for weight, modes in kept for mode in modes)


def _contact(name: str, first: str, second: str, severity: Severity) -> SubMode:
    def patches(ohms: float | NDArray[np.float64]) -> tuple[Patch, ...]:
        return (Bridge(first, second, 1 / ohms),)

    return SubMode(name, 1.0, severity, patches)


def _series(part: Part, pin: str) -> SubMode:
    """Resistance in the joint of a pin: the pin moves to a node of its own and comes back through it."""
    terminal = part.pin(pin)
    stub = open_joint(terminal)

    def patches(ohms: float | NDArray[np.float64]) -> tuple[Patch, ...]:
        return Move((terminal,), stub, joint=True), Bridge(terminal, f"{terminal}/pad", 1 / ohms)

    return SubMode(f"in series with {pin}", 1.0, SERIES, patches)


def _turn(knob: Knob, severity: Severity) -> SubMode:
    def patches(at: float | NDArray[np.float64]) -> tuple[Patch, ...]:
        return (Turn(knob.owner, knob.name, at),)

    return SubMode(knob.name, 1.0, severity, patches)


def _turn_to(knob: Knob, at: float) -> SubMode:
    unit = Unit.NUMBER if knob.neutral else Unit.VOLT
    patches = (Turn(knob.owner, knob.name, at),)
    word = "x" if knob.neutral else "by "
    return SubMode(f"{knob.name} {word}{format_quantity(at, unit)}", 1.0, None, lambda _: patches)
