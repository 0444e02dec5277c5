"""Patches applied to a network, in their order; what no patch touches is shared with the network, never copied."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields

import numpy as np

from seqsim.errors import UnknownPlaceError
from seqsim.network.elements import WIDTH, Effect
from seqsim.network.network import Floats, Ints, Network, Ports, RowArrays
from seqsim.network.patch import Bridge, Disable, Exchange, Move, Patch, SetGate, SetSide, Source, Turn
from seqsim.network.variant import Variant, node_at

WIDE = ("inject_weight", "conductance", "threshold")
"""Arrays of hinges that have a row for each severity before them."""
AXES = {each.name: 1 if each.name in WIDE else 0 for each in fields(Ports)}
"""The axis of each array of hinges along which they stand."""


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
        self.tip_node = self.pad_node = network.terminal_node
        self.metal: Ints | None = None
        """which terminal lies where each is drawn, once pins were exchanged"""
        self.stubs: list[str] = []
        self.turns: dict[tuple[str, str], float | Floats] = {}
        self.off: set[int] = set()
        self.touched: set[int] = set()
        self.added: list[tuple[str, str, dict[int, float], float | Floats, float | Floats, bool]] = []
        self.gate_force, self.side_force = network.unforced
        self.severities = 1
        for patch in patches:
            if isinstance(patch, Turn):
                self.turn(patch.owner, patch.knob, patch.value)
            else:
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
                if self.metal is None:
                    self.metal = np.arange(len(self.network.terminals))
                self.metal[[one, two]] = self.metal[[two, one]]
                self.touch(one)
                self.touch(two)
            case Disable(owner, roles):
                self.disable(owner, roles)
            case SetGate(gate, on):
                if gate not in self.network.gate_index:
                    raise UnknownPlaceError(f"there is no switch, supply or output called '{gate}'", place=gate)
                self.gate_force = self.gate_force.copy()
                self.gate_force[self.network.gate_index[gate]] = on
            case SetSide(owner, row, above):
                rows = [k for k in self.network.rows_of.get(owner, ()) if self.network.row_names[k] == row]
                if not rows:
                    raise UnknownPlaceError(f"'{owner}' has no input called '{row}' that could be held", place=owner)
                self.side_force = self.side_force.copy()
                self.side_force[rows] = above

    def place(self, name: str) -> int:
        """Node of a place as the patches so far leave it."""
        return node_at(self.network, self.tip_node, self.pad_node, self.stubs, name)

    def terminal(self, pin: str) -> int:
        try:
            return self.network.terminal_index[pin]
        except KeyError:
            raise UnknownPlaceError(f"there is no pin called '{pin}' on this board", place=pin) from None

    def touch(self, terminal: int) -> None:
        here = terminal if self.metal is None else int(self.metal[terminal])
        self.touched.update(self.network.hinges_at[here].tolist())

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
        terminals = [self.terminal(pin) for pin in pins]
        self.tip_node = self.tip_node.copy()
        self.tip_node[terminals] = node
        if not joint:
            self.pad_node = self.pad_node.copy()
            self.pad_node[terminals] = node
        for terminal in terminals:
            self.touch(terminal)

    def turn(self, owner: str, knob: str, value: float | Floats) -> None:
        found = self.network.knobs.get((owner, knob))
        if found is None:
            raise UnknownPlaceError(f"'{owner}' has nothing called '{knob}' that could change", place=owner)
        if not isinstance(value, float):
            self.count(value)
            value = np.asarray(value, dtype=np.float64)
            value = float(value.item()) if value.size == 1 else value
        # a factor on a factor multiplies, a shift on a shift adds
        before = self.turns.get((owner, knob), found.neutral)
        self.turns[owner, knob] = before * value if found.neutral else before + value
        self.touched |= self.network.turning(owner, knob).touched

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
        # pins may have been moved to where they were, but a comparison costs more than it saves
        self.moved_pins = self.metal is not None or self.tip_node is not network.terminal_node
        self.pin_node = self.tip_node
        if self.metal is not None:
            self.pin_node = np.empty_like(self.tip_node)
            self.pin_node[self.metal] = self.tip_node
        if network.ladders:
            # a ladder of hinges (limit after on) keeps its numbers together: all of it moves, or nothing
            for k in list(self.touched):
                self.touched |= network.ladders.get(k, frozenset())
            # and it falls with its foot: a limit takes back what a path would carry
            for k in list(self.off):
                self.off.update(other for other in network.ladders.get(k, ()) if int(hinges.after[other]) in self.off)
        moved = sorted(self.touched - self.off)
        base = len(network.owners)
        number = {k: base + i for i, k in enumerate(moved)}
        ports = self.ports(moved, number)
        rows = self.rows()
        if self.turns:
            self.apply_turns(ports, rows, number)
        ratio_at, ratio_nodes, ratio_weights = self.ratios(number)
        return Variant(
            network=network,
            severities=self.severities,
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
            pin_node=self.pin_node,
            tip_node=self.tip_node,
            pad_node=self.pad_node,
        )

    def ports(self, moved: list[int], number: Mapping[int, int]) -> Ports:
        """Return the hinges that stand for others (``moved``), then those that patches add."""
        network, hinges, m = self.network, self.network.hinges, self.severities
        at = np.array(moved, dtype=np.int64)
        if self.moved_pins:
            sense, inject = self.nodes(hinges.sense_at.take(at, axis=0)), self.nodes(hinges.inject_at.take(at, axis=0))
        else:
            sense, inject = (nodes.take(at, axis=0) for nodes in network.hinge_nodes)
        after, instead_of = hinges.after.take(at), hinges.instead_of.take(at)
        if network.ladders:
            after, instead_of = (
                np.array([number.get(k, k) for k in others.tolist()], dtype=np.int64) for others in (after, instead_of)
            )
        stood = Ports(
            sense_at=sense,
            sense_weight=hinges.sense_weight.take(at, axis=0),
            inject_at=inject,
            inject_weight=hinges.inject_weight.take(at, axis=1).repeat(m, axis=0),
            conductance=hinges.conductance.take(at, axis=1).repeat(m, axis=0),
            threshold=hinges.threshold.take(at, axis=1).repeat(m, axis=0),
            gate=hinges.gate.take(at),
            clamped=hinges.clamped.take(at),
            after=after,
            instead_of=instead_of,
        )
        return _joined(stood, self.further()) if self.added else stood

    def further(self) -> Ports:
        """Return the hinges that patches add."""
        m, count = self.severities, len(self.added)
        none = np.full(count, -1, dtype=np.int64)
        ports = Ports(
            sense_at=np.full((count, WIDTH), -1, dtype=np.int64),
            sense_weight=np.zeros((count, WIDTH)),
            inject_at=np.full((count, WIDTH), -1, dtype=np.int64),
            inject_weight=np.zeros((m, count, WIDTH)),
            conductance=np.zeros((m, count)),
            threshold=np.zeros((m, count)),
            gate=none,
            clamped=np.zeros(count, dtype=np.bool_),
            after=none,
            instead_of=none,
        )
        for i, (_, _, vector, siemens, threshold, clamped) in enumerate(self.added):
            ports.sense_at[i, : len(vector)] = list(vector)
            ports.sense_weight[i, : len(vector)] = list(vector.values())
            ports.inject_at[i] = ports.sense_at[i]
            # a limit senses reversed: it draws back what the source gives beyond it
            ports.inject_weight[:, i] = -ports.sense_weight[i] if clamped else ports.sense_weight[i]
            ports.conductance[:, i] = siemens
            ports.threshold[:, i] = threshold
            ports.clamped[i] = clamped
        return ports

    def nodes(self, at: Ints) -> Ints:
        """Nodes of terminals, -1 where there is none or it is ground."""
        return np.append(self.pin_node, -1)[at]

    def rows(self) -> RowArrays:
        """Rule rows over nodes; weights at ground are harmless, since its voltage is zero."""
        turned = any(self.network.turning(*key).rows for key in self.turns)
        if not turned and not self.moved_pins:
            return self.network.rows_in_place(self.severities)
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

    def apply_turns(self, ports: Ports, rows: RowArrays, number: Mapping[int, int]) -> None:
        network, base = self.network, len(self.network.owners)
        factors: dict[int, float | Floats] = {}
        shifts: dict[int, float | Floats] = {}
        gains: dict[tuple[int, int], float | Floats] = {}
        for key, value in self.turns.items():
            turning, more = network.turning(*key), value - network.knobs[key].neutral
            for k, effect, coefficient, places in turning.hinges:
                if k not in number:
                    continue
                i = number[k] - base
                if effect is Effect.SCALE:
                    factors[i] = factors.get(i, 1.0) * value**coefficient
                elif effect is Effect.SHIFT:
                    shifts[i] = shifts.get(i, 0.0) + coefficient * more
                else:
                    for place, weight in places:
                        gains[i, place] = gains.get((i, place), 0.0) + more * weight * coefficient
            for row, coefficient in turning.rows:
                rows.rising[:, row] += coefficient * more
                rows.falling[:, row] += coefficient * more
        if factors:
            ports.conductance[:, list(factors)] *= self.columns(factors.values())
        if shifts:
            ports.threshold[:, list(shifts)] += self.columns(shifts.values())
        if gains:
            at, places = np.array(list(gains)).T
            ports.inject_weight[:, at, places] += self.columns(gains.values())

    def columns(self, values: Iterable[float | Floats]) -> Floats:
        """Return numbers side by side (1 or m, n), some of which may differ between severities."""
        if self.severities == 1:
            return np.array([list(values)])
        return np.stack([np.broadcast_to(value, self.severities) for value in values], axis=1)

    def ratios(self, number: Mapping[int, int]) -> tuple[Ints, Ints, Floats]:
        """Return hinge, nodes and weights of each ratio."""
        hinges, terminals, weights = self.network.ratio_arrays
        at = np.array([number.get(k, k) for k in hinges], dtype=np.int64)
        return at, self.nodes(terminals) if self.moved_pins else self.network.ratio_nodes, weights


def _joined(first: Ports, second: Ports) -> Ports:
    """Return hinges one after another."""
    return Ports(*(np.concatenate([getattr(first, name), getattr(second, name)], axis) for name, axis in AXES.items()))
