"""A frozen network: the arrays that the solver works on, and who owns what in them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from seqsim.network.elements import GROUND, WIDTH, Effect, Knob, Ratio, Rule, Storage, Turned

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Scalar = TypeVar("Scalar", np.int64, np.int8)


@dataclass(frozen=True, slots=True)
class Ports:
    """``m`` sets of ``p`` hinges as arrays; terminals are indices, -1 stands for an unused place.

    ``sense_at``/``inject_at`` (p, WIDTH) are terminals in a `Network`, nodes in a `Variant`; ``conductance`` and
    ``threshold`` (m, p), ``inject_weight`` (m, p, WIDTH) where severities differ, else m = 1. ``gate``,
    ``after`` and ``instead_of`` (p,) are indices, or -1.
    """

    sense_at: Ints
    sense_weight: Floats
    inject_at: Ints
    inject_weight: Floats
    conductance: Floats
    threshold: Floats
    gate: Ints
    clamped: Bools
    after: Ints
    instead_of: Ints


@dataclass(frozen=True, slots=True)
class RowArrays:
    """Rule rows as arrays: terminals (r, WIDTH) or nodes, weights, thresholds (r,), class and owning rule."""

    rise_at: Ints
    rise_weight: Floats
    rising: Floats
    fall_at: Ints
    fall_weight: Floats
    falling: Floats
    kind: Ints
    rule: Ints


class Turning(NamedTuple):
    """What a knob turns.

    Hinges by their numbers, each with the effect, its coefficient, and the places and weights of a gain; and rule rows
    with the coefficient of their thresholds.
    """

    hinges: tuple[tuple[int, Effect, float, tuple[tuple[int, float], ...]], ...]
    rows: tuple[tuple[int, float], ...]
    touched: frozenset[int]


@dataclass(frozen=True)
class Network:
    """A circuit as the solver sees it, before any patch.

    ``node_names`` lists the nodes without ground; those from ``nets`` on are inner nodes of parts.
    ``terminal_node`` (t,) holds the node of each terminal, -1 for ground. Rule ``k`` owns the rows
    ``row_start[k]:row_start[k+1]``; its truth table ``tables[k]`` has one bit pattern of its gates
    ``rule_gates[k]`` for each pattern of sides (bit i of the index is row i).
    """

    node_names: tuple[str, ...]
    nets: int
    terminals: tuple[str, ...]
    terminal_node: Ints
    owners: tuple[str, ...]
    """owner of each hinge"""
    roles: tuple[str, ...]
    """role of each hinge"""
    hinges: Ports
    gates: tuple[str, ...]
    gate_default: Bools
    gate_rule: Ints
    rows: RowArrays
    row_names: tuple[str, ...]
    row_owners: tuple[str, ...]
    row_high_impedance: Bools
    rules: tuple[Rule, ...]
    row_start: Ints
    tables: tuple[Ints, ...]
    rule_gates: tuple[Ints, ...]
    ratios: tuple[Ratio, ...]
    knobs: Mapping[tuple[str, str], Knob]
    storages: tuple[Storage, ...]

    @cached_property
    def node_index(self) -> Mapping[str, int]:
        """Node of each net and inner node; ground is -1."""
        return {GROUND: -1} | {name: i for i, name in enumerate(self.node_names)}

    @cached_property
    def terminal_index(self) -> Mapping[str, int]:
        """Number of each terminal."""
        return {name: i for i, name in enumerate(self.terminals)}

    @cached_property
    def gate_index(self) -> Mapping[str, int]:
        """Number of each gate."""
        return {name: i for i, name in enumerate(self.gates)}

    @cached_property
    def hinges_of(self) -> Mapping[str, Ints]:
        """Numbers of the hinges of each owner."""
        found: dict[str, list[int]] = {}
        for k, owner in enumerate(self.owners):
            found.setdefault(owner, []).append(k)
        return {owner: np.array(numbers) for owner, numbers in found.items()}

    @cached_property
    def hinges_in(self) -> Mapping[tuple[str, str], tuple[int, ...]]:
        """Numbers of the hinges of each owner in each of its roles."""
        found: dict[tuple[str, str], list[int]] = {}
        for k, key in enumerate(zip(self.owners, self.roles, strict=True)):
            found.setdefault(key, []).append(k)
        return {key: tuple(numbers) for key, numbers in found.items()}

    @cached_property
    def part_names(self) -> frozenset[str]:
        """Names of all that has terminals: parts and supplies."""
        return frozenset(self.owners) | {name.rpartition(":" if ":" in name else ".")[0] for name in self.terminals}

    @cached_property
    def ladders(self) -> Mapping[int, frozenset[int]]:
        """For each hinge that is reached through another, or instead of another: all that hang together with it."""
        groups: dict[int, frozenset[int]] = {}
        for others in (self.hinges.after, self.hinges.instead_of):
            for k in np.flatnonzero(others >= 0).tolist():
                other = int(others[k])
                group = groups.get(k, frozenset({k})) | groups.get(other, frozenset({other}))
                groups.update(dict.fromkeys(group, group))
        return groups

    @cached_property
    def ratio_arrays(self) -> tuple[tuple[int, ...], Ints, Floats]:
        """Hinge of each ratio, and terminals and weights (k, 2, WIDTH) of its output and its input."""
        by_role = {(owner, role): k for k, (owner, role) in enumerate(zip(self.owners, self.roles, strict=True))}
        ends = [end for ratio in self.ratios for end in (ratio.output, ratio.input)]
        at, weight = weights(ends, self.terminal_index)
        shape = (len(self.ratios), 2, WIDTH)
        found = tuple(by_role[ratio.owner, ratio.role] for ratio in self.ratios)
        return found, at.reshape(shape), weight.reshape(shape)

    @cached_property
    def hinge_nodes(self) -> tuple[Ints, Ints]:
        """Nodes (p, WIDTH) at which each hinge senses and injects, where no pin was moved."""
        node = np.append(self.terminal_node, -1)
        return _shared(node[self.hinges.sense_at]), _shared(node[self.hinges.inject_at])

    @cached_property
    def ratio_nodes(self) -> Ints:
        """Nodes (k, 2, WIDTH) of the output and the input of each ratio, where no pin was moved."""
        return _shared(np.append(self.terminal_node, -1)[self.ratio_arrays[1]])

    @cached_property
    def unforced(self) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
        """Gates and rule rows of which none is forced: -1 for each."""
        return (
            _shared(np.full(len(self.gates), -1, dtype=np.int8)),
            _shared(np.full(len(self.row_names), -1, dtype=np.int8)),
        )

    def with_knobs(self, more: Mapping[tuple[str, str], Knob]) -> Network:
        """Return the network with further knobs; all else is shared, and what was worked out of it too."""
        found = copy(self)
        vars(found)["knobs"] = {**self.knobs, **more}
        vars(found).pop("_turning", None)
        return found

    def turning(self, owner: str, knob: str) -> Turning:
        """Return what a knob turns."""
        found = self._turning.get((owner, knob))
        if found is None:
            elements = self.knobs[owner, knob].turned
            hinges = tuple(
                (k, element.effect, element.coefficient, self._injected(k, element))
                for element in elements if element.effect is not Effect.ROW
                for k in self.hinges_in.get((owner, element.role), ())
            )  # fmt: skip
            rows = tuple(
                (k, element.coefficient) for element in elements if element.effect is Effect.ROW
                for k in self.rows_of.get(owner, ()) if self.row_names[k] == element.role
            )  # fmt: skip
            found = self._turning[owner, knob] = Turning(hinges, rows, frozenset(k for k, *_ in hinges))
        return found

    def _injected(self, hinge: int, element: Turned) -> tuple[tuple[int, float], ...]:
        """Return the places of a hinge at which a gain injects more, and with which weight."""
        at = self.hinges.inject_at[hinge].tolist()
        missing = [terminal for terminal in element.inject if self.terminal_index[terminal] not in at]
        if missing:
            message = f"{self.owners[hinge]} {element.role}: gain at {missing[0]}, where the hinge injects nothing"
            raise ValueError(message)
        return tuple((at.index(self.terminal_index[terminal]), weight) for terminal, weight in element.inject.items())

    @cached_property
    def _turning(self) -> dict[tuple[str, str], Turning]:
        return {}

    def rows_in_place(self, severities: int) -> RowArrays:
        """Return the rule rows over nodes, where no pin was moved and no threshold: the same object every time."""
        found = self._rows_in_place.get(severities)
        if found is None:
            node, rows = np.append(self.terminal_node, -1), self.rows
            shape = (severities, len(self.row_names))
            found = self._rows_in_place[severities] = RowArrays(
                rise_at=_shared(node[rows.rise_at]),
                rise_weight=rows.rise_weight,
                rising=np.broadcast_to(rows.rising, shape),
                fall_at=_shared(node[rows.fall_at]),
                fall_weight=rows.fall_weight,
                falling=np.broadcast_to(rows.falling, shape),
                kind=rows.kind,
                rule=rows.rule,
            )
        return found

    @cached_property
    def _rows_in_place(self) -> dict[int, RowArrays]:
        return {}

    @cached_property
    def rows_of(self) -> Mapping[str, tuple[int, ...]]:
        """Numbers of the rule rows of each owner."""
        found: dict[str, list[int]] = {}
        for k, owner in enumerate(self.row_owners):
            found.setdefault(owner, []).append(k)
        return {owner: tuple(numbers) for owner, numbers in found.items()}

    @cached_property
    def paces(self) -> Floats:
        """Seconds (g, 2) by which each gate turns on and off late, where it does both; else zero.

        Such a gate gives a cycle its pace: the board stays as it is while the gate waits.
        """
        found = np.zeros((len(self.gates), 2))
        for rule in self.rules:
            for gate, (on, off) in rule.delays.items():
                if on > 0 and off > 0:
                    found[self.gate_index[gate]] = on, off
        return found

    @cached_property
    def hinges_at(self) -> Mapping[int, Ints]:
        """Numbers of the hinges that sense or inject at each terminal."""
        return _numbers_at(self.hinges.sense_at, self.hinges.inject_at, len(self.terminals))

    @cached_property
    def rows_at(self) -> Mapping[int, Ints]:
        """Numbers of the rule rows that sense at each terminal."""
        return _numbers_at(self.rows.rise_at, self.rows.fall_at, len(self.terminals))

    @cached_property
    def pins_on(self) -> Mapping[str, tuple[str, ...]]:
        """Terminals on each net, in the order of the file; inner points excluded."""
        found: dict[str, list[str]] = {name: [] for name in (GROUND, *self.node_names[: self.nets])}
        for name, node in zip(self.terminals, self.terminal_node, strict=True):
            if node < self.nets:
                found[GROUND if node < 0 else self.node_names[node]].append(name)
        return {net: tuple(pins) for net, pins in found.items()}


def _shared(array: NDArray[Scalar]) -> NDArray[Scalar]:
    """Return an array that many variants hold at once: nobody may write to it."""
    array.flags.writeable = False
    return array


def _numbers_at(first: Ints, second: Ints, terminals: int) -> Mapping[int, Ints]:
    found: dict[int, set[int]] = {t: set() for t in range(terminals)}
    for at in (first, second):
        for number, places in enumerate(at):
            for t in places:
                if t >= 0:
                    found[int(t)].add(number)
    return {t: np.array(sorted(numbers), dtype=np.int64) for t, numbers in found.items()}


def weights(mappings: Iterable[Mapping[str, float]], number: Mapping[str, int]) -> tuple[Ints, Floats]:
    """Return terminal numbers and weights, both (len, WIDTH), of sparse vectors over terminals.

    Raises
    ------
    ValueError
        If a vector has more than WIDTH terminals: the part that emits it is at fault, not the circuit.
    """
    listed = list(mappings)
    at = np.full((len(listed), WIDTH), -1, dtype=np.int64)
    weight = np.zeros((len(listed), WIDTH))
    for k, mapping in enumerate(listed):
        if len(mapping) > WIDTH:
            message = (
                f"an element touches {len(mapping)} terminals ({', '.join(mapping)}); at most {WIDTH} are possible"
            )
            raise ValueError(message)
        for place, (terminal, value) in enumerate(mapping.items()):
            at[k, place] = number[terminal]
            weight[k, place] = value
    return at, weight
