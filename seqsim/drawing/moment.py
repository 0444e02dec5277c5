"""What a chain diagram tells, from a solved board: levels, what conducts, what is broken, what was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from seqsim.circuit import Circuit, compile_network, resolve_place, state_gates
from seqsim.circuit.places import PlaceKind
from seqsim.drawing.facts import CONDUCTS_AMPS, Facts, Flag, Level, Mark
from seqsim.drawing.flow import TRANSISTORS
from seqsim.errors import UnknownPlaceError
from seqsim.faults import find_fault, middle
from seqsim.network import Bridge, Patch, vary
from seqsim.parts import Part
from seqsim.parts.supply import ENTRY
from seqsim.quantity import Unit
from seqsim.readings import Reading
from seqsim.results import LevelMap, NodeLevel
from seqsim.solver import Levels, Steadiness, currents, solve_variant, static_gates
from seqsim.wording.tables import quantity, volts

HIGH_SHARE, LOW_SHARE = 0.7, 0.3
"""A net is high above this share of the largest voltage that it takes in any power state, low below that."""
ALWAYS_LOW_VOLTS = 0.1
"""A net that never rises above this is low."""
SLACK_VOLTS, SLACK_SHARE = 0.05, 0.02
"""How far outside the healthy percentiles a reading still agrees: our judgement, model error and meter."""
UNITS = {"volts": "V", "ohms": "Ω", "diode": "V", "continuity": "Ω", "current": "A"}


def moment(
    circuit: Circuit, levels: LevelMap, readings: Sequence[Reading] = (), largest: Mapping[str, float] | None = None
) -> Facts:
    """Return what is known of a board in the state and with the faults of a level map.

    ``largest`` are the largest voltages of each net, to tell high from low; they are worked out if not given.
    """
    patches: list[Patch] = []
    broken: dict[str, list[str]] = {}
    for text in levels.faults:
        fault, severity = find_fault(circuit, text)
        patches += fault.patches(middle(fault.severity) if severity is None else severity)
        for owner in _owners(circuit, fault.place):
            broken.setdefault(owner, []).append(text)
    largest = largest or largest_volts(circuit, tuple(patches))
    solved = _solutions(circuit, tuple(patches))[levels.state]
    amps = terminal_amps(solved, patches)
    return Facts(
        levels.state,
        levels.faults,
        {name: flag(node, largest.get(name, abs(node.volts))) for name, node in levels.nodes.items()},
        _marks(circuit, levels, readings),
        amps,
        _words(circuit, solved),
        {owner: tuple(texts) for owner, texts in broken.items()},
    )


def flag(node: NodeLevel, largest: float) -> Flag:
    """Return the level of a node in one word, with the text that stands in its flag."""
    shown = volts(node.volts)
    if node.condition == "floating":
        return Flag(Level.FLOATING, "floats")
    if node.condition == "undefined":
        return Flag(Level.UNDEFINED, f"? {volts(node.low)} to {volts(node.high)}")
    if node.condition == "contended":
        return Flag(Level.UNDEFINED, f"contended {shown}")
    if largest < ALWAYS_LOW_VOLTS or abs(node.volts) < LOW_SHARE * largest:
        return Flag(Level.LOW, shown)
    return Flag(Level.HIGH if abs(node.volts) > HIGH_SHARE * largest else Level.BETWEEN, shown)


def largest_volts(circuit: Circuit, patches: tuple[Patch, ...] = ()) -> dict[str, float]:
    """Return the largest voltage of each net over the power states, of the healthy board and of the patched one."""
    found: dict[str, float] = {}
    for solutions in (_solutions(circuit, ()), _solutions(circuit, patches) if patches else {}):
        for levels in solutions.values():
            network = levels.system.variant.network
            for k, net in enumerate(network.node_names[: network.nets]):
                found[net] = max(found.get(net, 0.0), abs(float(levels.volts[k])))
    return found


def _solutions(circuit: Circuit, patches: tuple[Patch, ...]) -> dict[str, Levels]:
    """Return the solution of each power state, the states gone through in their order."""
    network = compile_network(circuit)
    variant = vary(network, patches)
    found: dict[str, Levels] = {}
    before: Levels | None = None
    for state in circuit.power_states:
        static = static_gates(network, state_gates(circuit, state))
        before = solve_variant(variant, static, None if before is None else before.state)
        if before.steadiness is not Steadiness.FAILED:
            found[state] = before
    return found


def terminal_amps(levels: Levels, patches: Sequence[Patch]) -> dict[str, float]:
    """Return the current (A) into the part at each terminal."""
    variant = levels.system.variant
    network = variant.network
    found: dict[str, float] = {}
    replaced = set(variant.replaced.tolist())
    flowing = currents(levels)
    count = len(network.owners)
    for h, amps in enumerate(flowing):
        base = h if h < count else int(variant.port_of[h - count])
        if base < 0 or (h < count and h in replaced):
            continue
        weights = network.hinges.inject_weight[0, h] if h < count else variant.ports.inject_weight[0, h - count]
        for at, weight in zip(network.hinges.inject_at[base], weights, strict=True):
            if at >= 0:
                name = network.terminals[int(at)]
                found[name] = found.get(name, 0.0) + float(amps * weight)
    for patch in patches:
        if isinstance(patch, Bridge):
            amps = float(patch.siemens) * (levels.at(patch.first) - levels.at(patch.second))
            for name, sign in ((patch.first, 1), (patch.second, -1)):
                if name in network.terminal_index:
                    found[name] = found.get(name, 0.0) + sign * amps
    return found


def _words(circuit: Circuit, levels: Levels) -> dict[str, str]:
    """Return for parts that switch whether they are on, and for supplies how they stand."""
    network = levels.system.variant.network
    on = {name: bool(levels.gates[k]) for k, name in enumerate(network.gates)}
    found = {}
    for supply in circuit.supplies.values():
        applied, idle = on.get(supply.applied, False), on.get(supply.idle_low, False)
        found[supply.name] = "applied" if applied else "held at 0 V" if idle else "not applied"
    transistors = _transistors_on(levels)
    for part in circuit.parts.values():
        word = _word(part, on, transistors)
        if word:
            found[part.name] = word
    return found


def _transistors_on(levels: Levels) -> set[str]:
    """Return the parts with a channel that is open, or a base-emitter junction that carries what conducts.

    A transistor that is saturated and has nothing to sink is on, so the collector's current does not tell.
    """
    variant = levels.system.variant
    owners = (*variant.network.owners, *variant.port_owners)
    roles = (*variant.network.roles, *variant.port_roles)
    active, flowing = levels.active(), currents(levels)
    passed = np.abs(levels.system.inject_weight).max(axis=1)
    found = set()
    for h, role in enumerate(roles):
        carries = role.startswith("base-emitter junction") and flowing[h] * passed[h] >= CONDUCTS_AMPS
        if active[h] > 0 and (role.startswith("channel") or carries):
            found.add(owners[h])
    return found


def _word(part: Part, on: Mapping[str, bool], transistors: set[str]) -> str:
    if f"{part.name}:closed" in on:
        return "closed" if on[f"{part.name}:closed"] else "open"
    if part.kind in TRANSISTORS:
        return "on" if part.name in transistors else "off"
    if part.kind in ("regulator", "load_switch") and f"{part.name}:on" in on:
        return "on" if on[f"{part.name}:on"] else "off"
    return ""


def _owners(circuit: Circuit, place: str) -> tuple[str, ...]:
    """Return the part, net or supply that a fault at a place is drawn at."""
    if place in circuit.parts or place in circuit.supplies:
        return (place,)
    try:
        found = resolve_place(circuit, place)
    except UnknownPlaceError:
        return (place,)
    if found.kind in (PlaceKind.PIN, PlaceKind.PAD):
        return (place.rpartition(".")[0],)
    return (found.net,)


def _marks(circuit: Circuit, levels: LevelMap, readings: Sequence[Reading]) -> dict[str, tuple[Mark, ...]]:
    """Return readings by where they are drawn: a net, or a pin."""
    found: dict[str, list[Mark]] = {}
    for reading in readings:
        near, net, at_point = _where(circuit, reading)
        words = [quantity(reading.value, Unit.OF_GOOD.value if reading.of_good else UNITS.get(reading.kind, ""))]
        if at_point or reading.to is not None:
            words.insert(0, reading.place)
        if reading.to is not None:
            words.insert(1, f"to {reading.to}")
        if reading.state != levels.state:
            words.append(f"@{reading.state}")
        node = levels.nodes.get(near) or levels.nodes.get(net)
        comparable = (
            reading.kind == "volts" and reading.state == levels.state and reading.to is None
            and not reading.interventions and not reading.of_good and node is not None
        )  # fmt: skip
        agrees = _agrees(reading, node) if comparable and node is not None else None
        found.setdefault(near, []).append(Mark(" ".join(words), agrees))
    return {near: tuple(marks) for near, marks in found.items()}


def _where(circuit: Circuit, reading: Reading) -> tuple[str, str, bool]:
    """Return what a reading is drawn at (a net, or a pin), the net there, and whether it names a point of the net."""
    if reading.place in circuit.parts:
        part = circuit.parts[reading.place]
        first = next(iter(part.pins))
        return part.pin(first), part.pins[first], True
    if reading.kind == "current" and reading.place in circuit.supplies:
        net = circuit.supplies[reading.place].net
        return net, net, True
    place = resolve_place(circuit, reading.place)
    if place.kind in (PlaceKind.PIN, PlaceKind.PAD) and not place.name.endswith(ENTRY):
        return place.name.removesuffix("/pad"), place.net, True
    return place.net, place.net, place.kind is PlaceKind.COPPER


def _agrees(reading: Reading, node: NodeLevel) -> bool | None:
    if isinstance(reading.value, str):
        return None
    low, high = reading.value if isinstance(reading.value, tuple) else (reading.value, reading.value)
    slack = SLACK_VOLTS + SLACK_SHARE * abs(node.volts)
    if reading.about:
        slack += 0.1 * abs(high)
    return node.low - slack <= high and low <= node.high + slack
