"""Patched networks: what differs from the network as built, in the form that both solvers take."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seqsim.errors import UnknownPlaceError
from seqsim.network.elements import WIDTH, Effect, Turned
from seqsim.network.network import Floats, Ints, Network, Ports, RowArrays
from seqsim.network.patch import Bridge, Disable, Exchange, Move, Patch, SetGate, SetSide, Source, Turn


@dataclass(frozen=True, slots=True)
class Variant:
    """A network with patches: the hinges that they replace, and the hinges that stand in their place.

    Hinges are numbered through: those of the network first, then ``ports``. ``severities`` is the common length
    ``m`` of the patches' arrays (1 without any). All indices are nodes; -1 is ground.
    """

    network: Network
    severities: int
    stubs: tuple[str, ...]
    """names of the nodes that patches add, numbered after those of the network"""
    replaced: Ints
    ports: Ports
    port_of: Ints
    """(p,) the hinge of the network that a port stands for, or -1"""
    port_owners: tuple[str, ...]
    port_roles: tuple[str, ...]
    rows: RowArrays
    """over nodes; thresholds (m, r)"""
    gate_force: NDArray[np.int8]
    """(gates,) 1 on, 0 off, -1 as its rule or the power state says"""
    side_force: NDArray[np.int8]
    """(rows,) 1 above, 0 below, -1 as the terminals say"""
    ratio_at: Ints
    """(k,) the hinge, numbered through, whose conductance is the k-th ratio"""
    ratio_nodes: Ints
    """(k, 2, WIDTH) nodes of the output and the input of the k-th ratio"""
    ratio_weights: Floats
    pin_node: Ints
    """(terminals,) node of each pin, as the part feels it"""
    tip_node: Ints
    """(terminals,) node of a probe on each pin: where the drawing has it, even if pins were exchanged"""
    pad_node: Ints
    """(terminals,) node of the copper under each pin"""

    @property
    def size(self) -> int:
        """Number of nodes, stubs included, without ground."""
        return len(self.network.node_names) + len(self.stubs)

    def node(self, place: str) -> int:
        """Node of a net, pin, pad, inner point or cut-off piece; -1 is ground.

        Raises
        ------
        UnknownPlaceError
            If there is no such place.
        """
        return _node(self.network, self.tip_node, self.pad_node, self.stubs, place)


def _node(network: Network, tip_node: Ints, pad_node: Ints, stubs: Sequence[str], place: str) -> int:
    found = network.terminal_index.get(place)
    if found is not None:
        return int(tip_node[found])
    if place in network.node_index:
        return network.node_index[place]
    if place in stubs:
        return len(network.node_names) + stubs.index(place)
    if place.endswith("/pad") and place[:-4] in network.terminal_index:
        return int(pad_node[network.terminal_index[place[:-4]]])
    message = f"there is no net, pin or pad called '{place}' on this board"
    raise UnknownPlaceError(message, place=place)


def vary(network: Network, patches: Iterable[Patch] = ()) -> Variant:
    """Return the network with patches applied in their order; later patches see what earlier ones moved.

    Raises
    ------
    UnknownPlaceError
        If a patch names a place, knob or gate that the network does not have.
    ValueError
        If patches carry arrays of different lengths.
    """
    return _Varying(network, tuple(patches)).finish()


class _Varying:
    """The state of `vary`: where pins lie and what is turned, until all patches are read."""

    def __init__(self, network: Network, patches: tuple[Patch, ...]) -> None:
        self.network = network
        self.tip_node = network.terminal_node.copy()
        self.metal = np.arange(len(network.terminals))
        """which terminal lies where each is drawn"""
        self.pad_node = network.terminal_node.copy()
        self.stubs: list[str] = []
        self.turns: dict[tuple[str, str], float | Floats] = {}
        self.off: set[int] = set()
        self.touched: set[int] = set()
        self.added: list[tuple[str, str, dict[int, float], float | Floats, float | Floats, bool]] = []
        self.gate_force = np.full(len(network.gates), -1, dtype=np.int8)
        self.side_force = np.full(len(network.row_names), -1, dtype=np.int8)
        self.severities = 1
        for patch in patches:
            self.read(patch)

    def read(self, patch: Patch) -> None:
        match patch:
            case Bridge(first, second, siemens, owner):
                a, b = self.place(first), self.place(second)
                if a != b:
                    self.add(owner, "bridge", {a: 1.0, b: -1.0}, siemens, 0.0, clamped=False)
            case Source():
                self.source(patch)
            case Move(pins, to, joint):
                self.move(pins, to, joint=joint)
            case Exchange(first, second):
                one, two = self.terminal(first), self.terminal(second)
                self.metal[[one, two]] = self.metal[[two, one]]
                self.touch(one)
                self.touch(two)
            case Turn(owner, knob, value):
                self.turn(owner, knob, value)
            case Disable(owner, roles):
                self.disable(owner, roles)
            case SetGate(gate, on):
                if gate not in self.network.gate_index:
                    raise UnknownPlaceError(f"there is no switch, supply or output called '{gate}'", place=gate)
                self.gate_force[self.network.gate_index[gate]] = on
            case SetSide(owner, row, above):
                rows = [k for k in self.network.rows_of.get(owner, ()) if self.network.row_names[k] == row]
                if not rows:
                    raise UnknownPlaceError(f"'{owner}' has no input called '{row}' that could be held", place=owner)
                self.side_force[rows] = above

    def place(self, name: str) -> int:
        """Node of a place as the patches so far leave it."""
        return _node(self.network, self.tip_node, self.pad_node, self.stubs, name)

    def terminal(self, pin: str) -> int:
        try:
            return self.network.terminal_index[pin]
        except KeyError:
            raise UnknownPlaceError(f"there is no pin called '{pin}' on this board", place=pin) from None

    def touch(self, terminal: int) -> None:
        self.touched.update(self.network.hinges_at[self.metal[terminal]].tolist())

    def count(self, *values: float | Floats) -> None:
        """Note the length of the arrays that patches carry."""
        for value in values:
            size = np.size(value)
            if size > 1 and self.severities > 1 and size != self.severities:
                message = f"patches carry {size} and {self.severities} severities at once"
                raise ValueError(message)
            self.severities = max(self.severities, size)

    def add(
        self,
        owner: str,
        role: str,
        vector: dict[int, float],
        siemens: float | Floats,
        threshold: float | Floats,
        *,
        clamped: bool,
    ) -> None:
        self.count(siemens, threshold)
        self.added.append((owner, role, vector, siemens, threshold, clamped))

    def source(self, patch: Source) -> None:
        plus, minus = self.place(patch.plus), self.place(patch.minus)
        if plus == minus:
            return
        siemens = 1 / np.asarray(patch.ohms, dtype=np.float64)
        volts = np.asarray(patch.volts, dtype=np.float64)
        self.add(patch.owner, "source", {plus: 1.0, minus: -1.0}, siemens, volts, clamped=False)
        if patch.amps is not None:
            # beyond the limit a second hinge of the same slope takes back what the source would add
            most = np.asarray(patch.amps, dtype=np.float64) / siemens
            self.add(patch.owner, "limit", {plus: -1.0, minus: 1.0}, siemens, most - volts, clamped=True)

    def move(self, pins: tuple[str, ...], to: str, *, joint: bool) -> None:
        try:
            node = self.place(to)
        except UnknownPlaceError:
            node = len(self.network.node_names) + len(self.stubs)
            self.stubs.append(to)
        for pin in pins:
            terminal = self.terminal(pin)
            self.tip_node[terminal] = node
            if not joint:
                self.pad_node[terminal] = node
            self.touch(terminal)

    def turn(self, owner: str, knob: str, value: float | Floats) -> None:
        found = self.network.knobs.get((owner, knob))
        if found is None:
            raise UnknownPlaceError(f"'{owner}' has nothing called '{knob}' that could change", place=owner)
        self.count(value)
        # a factor on a factor multiplies, a shift on a shift adds
        before = self.turns.get((owner, knob), found.neutral)
        self.turns[owner, knob] = before * value if found.neutral else before + value
        for turned in found.turned:
            if turned.effect is not Effect.ROW:
                self.touched.update(
                    int(k) for k in self.network.hinges_of[owner] if self.network.roles[k] == turned.role
                )

    def disable(self, owner: str, roles: tuple[str, ...] | None) -> None:
        if owner not in self.network.part_names:
            raise UnknownPlaceError(f"there is no part or supply called '{owner}'", place=owner)
        numbers = [int(k) for k in self.network.hinges_of.get(owner, ())]
        found = [k for k in numbers if roles is None or self.network.roles[k] in roles]
        if roles and not found:
            raise UnknownPlaceError(f"'{owner}' has nothing called '{roles[0]}' that could be disabled", place=owner)
        self.off.update(found)

    def finish(self) -> Variant:
        network, hinges = self.network, self.network.hinges
        pin_node = self.pin_node = np.empty_like(self.tip_node)
        pin_node[self.metal] = self.tip_node
        # a ladder of hinges (limit after on) keeps its numbers together: all of it moves, or nothing
        for k in list(self.touched):
            self.touched |= network.ladders.get(k, frozenset())
        # and it falls with its foot: a limit takes back what a path would carry
        for k in list(self.off):
            self.off.update(other for other in network.ladders.get(k, ()) if int(hinges.after[other]) in self.off)
        moved = sorted(self.touched - self.off)
        count = len(moved) + len(self.added)
        base = len(network.owners)
        number = {k: base + i for i, k in enumerate(moved)}
        m = self.severities
        ports = Ports(
            sense_at=np.full((count, WIDTH), -1, dtype=np.int64),
            sense_weight=np.zeros((count, WIDTH)),
            inject_at=np.full((count, WIDTH), -1, dtype=np.int64),
            inject_weight=np.zeros((m, count, WIDTH)),
            conductance=np.zeros((m, count)),
            threshold=np.zeros((m, count)),
            gate=np.full(count, -1, dtype=np.int64),
            clamped=np.zeros(count, dtype=np.bool_),
            after=np.full(count, -1, dtype=np.int64),
            instead_of=np.full(count, -1, dtype=np.int64),
        )
        if moved:
            at = np.array(moved)
            here = slice(0, len(moved))
            ports.sense_at[here] = self.nodes(hinges.sense_at[at])
            ports.sense_weight[here] = hinges.sense_weight[at]
            ports.inject_at[here] = self.nodes(hinges.inject_at[at])
            ports.inject_weight[:, here] = hinges.inject_weight[:, at]
            ports.conductance[:, here] = hinges.conductance[:, at]
            ports.threshold[:, here] = hinges.threshold[:, at]
            ports.gate[here] = hinges.gate[at]
            ports.clamped[here] = hinges.clamped[at]
            ports.after[here] = [number.get(int(k), int(k)) for k in hinges.after[at]]
            ports.instead_of[here] = [number.get(int(k), int(k)) for k in hinges.instead_of[at]]
        for i, (_, _, vector, siemens, threshold, clamped) in enumerate(self.added, start=len(moved)):
            ports.sense_at[i, : len(vector)] = list(vector)
            ports.sense_weight[i, : len(vector)] = list(vector.values())
            ports.inject_at[i] = ports.sense_at[i]
            # a limit senses reversed: it draws back what the source gives beyond it
            ports.inject_weight[:, i] = -ports.sense_weight[i] if clamped else ports.sense_weight[i]
            ports.conductance[:, i] = siemens
            ports.threshold[:, i] = threshold
            ports.clamped[i] = clamped
        rows = self.rows()
        self.apply_turns(ports, rows, moved)
        ratio_at, ratio_nodes, ratio_weights = self.ratios(number)
        return Variant(
            network=network,
            severities=m,
            stubs=tuple(self.stubs),
            replaced=np.array(sorted(self.touched | self.off), dtype=np.int64),
            ports=ports,
            port_of=np.array(moved + [-1] * len(self.added), dtype=np.int64),
            port_owners=tuple(network.owners[k] for k in moved) + tuple(item[0] for item in self.added),
            port_roles=tuple(network.roles[k] for k in moved) + tuple(item[1] for item in self.added),
            rows=rows,
            gate_force=self.gate_force,
            side_force=self.side_force,
            ratio_at=ratio_at,
            ratio_nodes=ratio_nodes,
            ratio_weights=ratio_weights,
            pin_node=pin_node,
            tip_node=self.tip_node,
            pad_node=self.pad_node,
        )

    def nodes(self, at: Ints) -> Ints:
        """Nodes of terminals, -1 where there is none or it is ground."""
        return np.where(at >= 0, self.pin_node[np.maximum(at, 0)], -1)

    def rows(self) -> RowArrays:
        """Rule rows over nodes; weights at ground are harmless, since its voltage is zero."""
        rows = self.network.rows
        return RowArrays(
            rise_at=self.nodes(rows.rise_at),
            rise_weight=rows.rise_weight,
            rising=np.repeat(rows.rising[None], self.severities, axis=0),
            fall_at=self.nodes(rows.fall_at),
            fall_weight=rows.fall_weight,
            falling=np.repeat(rows.falling[None], self.severities, axis=0),
            kind=rows.kind,
            rule=rows.rule,
        )

    def apply_turns(self, ports: Ports, rows: RowArrays, moved: list[int]) -> None:
        network = self.network
        place = {k: i for i, k in enumerate(moved)}
        for turned, owner, value, neutral in self.turned():
            if turned.effect is Effect.ROW:
                for k in network.rows_of[owner]:
                    if network.row_names[k] == turned.role:
                        shift = turned.coefficient * (np.asarray(value) - neutral)
                        rows.rising[:, k] += shift
                        rows.falling[:, k] += shift
                continue
            for k in network.hinges_of[owner]:
                if network.roles[k] != turned.role or int(k) not in place:
                    continue
                i = place[int(k)]
                if turned.effect is Effect.SCALE:
                    ports.conductance[:, i] *= np.asarray(value, dtype=np.float64) ** turned.coefficient
                elif turned.effect is Effect.SHIFT:
                    ports.threshold[:, i] += turned.coefficient * (np.asarray(value) - neutral)
                else:
                    self.gain(ports, i, int(k), turned, np.asarray(value, dtype=np.float64) - neutral)

    def turned(self) -> Iterator[tuple[Turned, str, float | Floats, float]]:
        """Yield what each turned knob turns: element, owner, where the knob stands, and its neutral."""
        for (owner, name), value in self.turns.items():
            knob = self.network.knobs[owner, name]
            for element in knob.turned:
                yield element, owner, value, knob.neutral

    def gain(self, ports: Ports, i: int, hinge: int, turned: Turned, more: Floats) -> None:
        network = self.network
        for terminal, weight in turned.inject.items():
            number = network.terminal_index[terminal]
            at = network.hinges.inject_at[hinge].tolist()
            if number not in at:
                message = f"{network.owners[hinge]} {turned.role}: gain at {terminal}, where the hinge injects nothing"
                raise ValueError(message)
            ports.inject_weight[:, i, at.index(number)] += more * weight * turned.coefficient

    def ratios(self, number: Mapping[int, int]) -> tuple[Ints, Ints, Floats]:
        """Return hinge, nodes and weights of each ratio."""
        hinges, terminals, weights = self.network.ratio_arrays
        at = np.array([number.get(k, k) for k in hinges], dtype=np.int64)
        return at, self.nodes(terminals), weights
