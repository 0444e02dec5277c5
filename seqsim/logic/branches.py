"""What meets at a node: each path of current with its owner, what it leads to, and what switches it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

import numpy as np

from seqsim.logic.situation import Situation
from seqsim.network import GROUND, Bridge, Source
from seqsim.parts import Part


class Way(Enum):
    """How a branch is controlled."""

    PASSES = "passes"
    """a resistor, a junction, a winding: current flows as the volts at its ends say"""
    BASE = "base"
    """the base of a bipolar transistor, which takes current and drives nothing"""
    BIPOLAR = "bipolar"
    FIELD = "field effect"
    LIGHT = "light"
    """the transistor of an optocoupler"""
    CHIP = "chip"
    CONTACT = "contact"
    SUPPLY = "supply"
    ADDED = "added"
    """what a fault has put there"""


SWITCHED = frozenset({Way.BIPOLAR, Way.FIELD, Way.LIGHT})
"""Ways in which a transistor connects two points."""
FORWARD = ("base-emitter junction", "channel ")
BACKWARD = ("base-collector junction", "channel backwards")


@dataclass(frozen=True)
class Branch:
    """A path of current between a node and somewhere else.

    ``pin`` is the owner's terminal at the node, ``far`` its terminal at the other end (None where there is none),
    ``far_label`` the node of that. ``amps`` flow into the node. ``hinges`` are numbers of what carries the current,
    ``gates`` of what switches it. ``fault`` names the fault that added it.
    """

    owner: str
    way: Way
    pin: str
    far: str | None
    far_label: str
    amps: float
    hinges: tuple[int, ...]
    gates: tuple[int, ...] = ()
    fault: str = ""

    @property
    def pulls(self) -> int:
        """1 where it feeds the node, -1 where it draws from it, 0 where it does neither."""
        return 0 if abs(self.amps) < QUIET_AMPS else 1 if self.amps > 0 else -1


QUIET_AMPS = 1e-7
"""Below this a branch decides nothing: the 10 MΩ of a meter draw as much at 1 V."""


def branches(situation: Situation, label: str) -> tuple[Branch, ...]:
    """Return the branches at a net or cut-off piece, whether they carry current or not."""
    if "branches" not in situation.memo:
        situation.memo["branches"] = _all(situation)
    found: dict[int, tuple[Branch, ...]] = situation.memo["branches"]
    return found.get(situation.node(label), ())


def _all(situation: Situation) -> dict[int, tuple[Branch, ...]]:
    """Return the branches at each node."""
    carried: dict[int, dict[tuple[str, Way, str, str | None], list[tuple[int, float]]]] = {}
    for node, hinge, pin, weight in _injections(situation):
        owner = situation.owners[hinge]
        way, far = _way(situation, hinge, owner, pin)
        here = carried.setdefault(node, {})
        here.setdefault((owner, way, pin, far), []).append((hinge, -weight * float(situation.amps[hinge])))
    return {
        node: (*_joined(_listed(situation, node, carried.get(node, {}))), *_added(situation, node))
        for node in situation.label_of
    }


def _listed(
    situation: Situation, node: int, carried: dict[tuple[str, Way, str, str | None], list[tuple[int, float]]]
) -> Iterator[Branch]:
    for (owner, way, pin, far), items in carried.items():
        far_node = situation.node(far) if far is not None else -1
        if far is not None and far_node == node:
            continue
        hinges = tuple(hinge for hinge, _ in items)
        gates = _gates(situation, hinges, owner) if way in (Way.CHIP, Way.CONTACT, Way.SUPPLY) else ()
        label = situation.label_of.get(far_node, GROUND)
        yield Branch(owner, way, pin, far, label, sum(amps for _, amps in items), hinges, gates)


def _injections(situation: Situation) -> Iterator[tuple[int, int, str, float]]:
    """Yield node, hinge, terminal and weight wherever a living hinge of a part or supply injects outside of it."""
    system, network = situation.levels.system, situation.network
    variant = system.variant
    base = len(network.owners)
    inner = range(network.nets, len(network.node_names))
    for hinge in np.flatnonzero(system.alive):
        origin = hinge if hinge < base else int(variant.port_of[hinge - base])
        if origin < 0:
            continue
        for at, weight in zip(network.hinges.inject_at[origin], system.inject_weight[hinge], strict=True):
            if at >= 0 and weight and int(variant.pin_node[at]) not in inner:
                yield int(variant.pin_node[at]), int(hinge), network.terminals[at], float(weight)


def _way(situation: Situation, hinge: int, owner: str, pin: str) -> tuple[Way, str | None]:
    """Return how a hinge acts at one of its pins, and the far terminal that it leads to."""
    if owner in situation.circuit.supplies:
        return Way.SUPPLY, None
    part = situation.circuit.parts.get(owner)
    if part is None:  # the tie of a further ground
        return Way.PASSES, None
    role, here = situation.roles[hinge], pin.rpartition(".")[2]
    if part.pins.keys() >= {"A", "K", "C", "E"}:
        way = Way.PASSES if here in ("A", "K") else Way.LIGHT
        return way, part.pin({"A": "K", "K": "A", "C": "E", "E": "C"}[here])
    if part.pins.keys() >= {"B", "C", "E"}:
        return (Way.BASE, part.pin("E")) if here == "B" else (Way.BIPOLAR, part.pin("C" if here == "E" else "E"))
    if part.pins.keys() >= {"G", "D", "S"}:
        return Way.FIELD if role.startswith("channel") else Way.PASSES, part.pin("S" if here == "D" else "D")
    others = _others(situation, hinge, pin)
    gate = int(situation.levels.system.gate[hinge])
    if owner in situation.network.rows_of and (gate >= 0 or _inner(situation, hinge)):
        return Way.CHIP, _feed(part, pin, others)
    return Way.CONTACT if gate >= 0 else Way.PASSES, next(iter(others), None)


def _others(situation: Situation, hinge: int, pin: str) -> list[str]:
    """Pins other than this one at which a hinge injects."""
    network = situation.network
    base = len(network.owners)
    origin = hinge if hinge < base else int(situation.levels.system.variant.port_of[hinge - base])
    names = [network.terminals[at] for at in network.hinges.inject_at[origin] if at >= 0]
    return [name for name in names if name != pin and "." in name]


def _inner(situation: Situation, hinge: int) -> bool:
    """Tell whether a hinge senses an inner point: what it carries is decided inside the part."""
    system = situation.levels.system
    network = situation.network
    inner = range(network.nets, len(network.node_names))
    return any(
        int(node) in inner for node, weight in zip(system.sense_at[hinge], system.sense_weight[hinge], strict=True)
        if weight
    )  # fmt: skip


def _feed(part: Part, pin: str, others: list[str]) -> str | None:
    """The pin from which a chip's pin gets its current; the output of a regulator is fed by its input."""
    if "IN" in part.pins and pin == part.name + ".OUT":
        return part.pin("IN")
    return next(iter(others), None)


def _gates(situation: Situation, hinges: tuple[int, ...], owner: str) -> tuple[int, ...]:
    """Numbers of the gates that switch these hinges, directly or inside the part."""
    system = situation.levels.system
    found = dict.fromkeys(int(system.gate[h]) for h in hinges if system.gate[h] >= 0)
    if not found:
        inside = situation.network.hinges_of.get(owner, ())
        found = dict.fromkeys(
            int(situation.network.hinges.gate[h]) for h in inside
            if situation.network.hinges.gate[h] >= 0 and situation.network.roles[h] in ("on", "limit")
        )  # fmt: skip
    return tuple(found)


def _joined(listed: Iterable[Branch]) -> Iterator[Branch]:
    """Join the sides of one output of a chip, which its rule drives together."""
    chips: dict[tuple[str, str], list[Branch]] = {}
    for branch in listed:
        if branch.way is Way.CHIP:
            chips.setdefault((branch.owner, branch.pin), []).append(branch)
        else:
            yield branch
    for (owner, pin), sides in chips.items():
        most = max(sides, key=lambda side: abs(side.amps))
        yield Branch(
            owner, Way.CHIP, pin, most.far, most.far_label, sum(side.amps for side in sides),
            tuple(h for side in sides for h in side.hinges),
            tuple(dict.fromkeys(gate for side in sides for gate in side.gates)),
        )  # fmt: skip


def _added(situation: Situation, node: int) -> Iterator[Branch]:
    """Yield the conductances and sources that patches have put at a node; a source has no far end."""
    variant, system = situation.levels.system.variant, situation.levels.system
    base = len(situation.network.owners)
    waiting = [(k, patch) for k, patch in enumerate(situation.patches) if isinstance(patch, Bridge | Source)]
    for port, role in enumerate(variant.port_roles):
        if variant.port_of[port] >= 0 or role == "limit":
            continue
        ends = [-1 if end == system.nodes else int(end) for end in system.inject_at[base + port][:2]]
        siemens = float(system.conductance[base + port])
        place = next(k for k, (_, each) in enumerate(waiting) if _is(each, role, siemens))
        number, patch = waiting[place]
        waiting = waiting[place + 1 :]
        if node not in ends:
            continue
        here, there = (0, 1) if ends[0] == node else (1, 0)
        places = (patch.first, patch.second) if isinstance(patch, Bridge) else (patch.plus, patch.minus)
        amps = -float(system.inject_weight[base + port][here]) * float(situation.amps[base + port])
        yield Branch(
            patch.owner, Way.ADDED, places[here], places[there] if role == "bridge" else None,
            situation.label_of.get(ends[there], GROUND), amps, (base + port,), (), situation.origins[number],
        )  # fmt: skip


def _is(patch: Bridge | Source, role: str, siemens: float) -> bool:
    """Tell whether a patch made a port; ports stand in the order of their patches, and some patches make none."""
    if isinstance(patch, Bridge):
        return role == "bridge" and float(np.max(patch.siemens)) == siemens
    return role == "source" and float(np.max(1 / np.asarray(patch.ohms, dtype=np.float64))) == siemens


def capability(situation: Situation, owner: str) -> float:
    """Current (A) that a transistor would let through at the present drive, in the better of its two directions."""
    system = situation.levels.system
    base = len(situation.network.owners)
    numbers = [*situation.network.hinges_of.get(owner, ())]
    numbers += [base + k for k, name in enumerate(system.variant.port_owners) if name == owner]
    numbers = [h for h in numbers if system.alive[h]]
    best = 0.0
    for prefix in (*FORWARD, *BACKWARD):
        roles = [h for h in numbers if _of(situation.roles[h], prefix)]
        carried = sum(
            float(situation.amps[h]) * float(np.sort(np.abs(system.inject_weight[h]))[-2]) for h in roles
        )  # fmt: skip
        best = max(best, carried)
    return best


def _of(role: str, prefix: str) -> bool:
    if prefix == "channel ":
        return role.startswith(prefix) and not role.startswith(BACKWARD[1])
    return role.startswith(prefix)
