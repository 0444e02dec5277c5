"""How a circuit becomes a network: parts add elements between named terminals, and the builder freezes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from seqsim.network.elements import GROUND, Hinge, Knob, Ratio, Row, RowClass, Rule, Storage, Turned
from seqsim.network.network import Ints, Network, Ports, RowArrays, weights


class Builder:
    """Collects nets, pins and elements, and freezes them into a `Network`."""

    def __init__(self) -> None:
        self._nets: list[str] = []
        self._inner: list[str] = []
        self._terminals: dict[str, str] = {}
        self._hinges: list[Hinge] = []
        self._gates: dict[str, bool] = {}
        self._rules: list[Rule] = []
        self._ratios: list[Ratio] = []
        self._knobs: dict[tuple[str, str], Knob] = {}
        self._storages: list[Storage] = []

    def net(self, name: str) -> None:
        """Declare a net; ground needs no declaration."""
        if name != GROUND and name not in self._nets:
            self._nets.append(name)

    def pin(self, terminal: str, net: str) -> None:
        """Put a terminal on a net."""
        self.net(net)
        self._terminals[terminal] = net

    def inner(self, terminal: str) -> None:
        """Declare an inner point of a part: a node of its own, never shown among the nets."""
        self._inner.append(terminal)
        self._terminals[terminal] = terminal

    def has(self, terminal: str) -> bool:
        """Tell whether a terminal was declared."""
        return terminal in self._terminals

    def gate(self, name: str, *, on: bool) -> None:
        """Declare a gate that no rule drives: a power state or a fault sets it."""
        self._gates[name] = on

    def add(self, element: Hinge | Rule | Knob | Ratio | Storage) -> None:
        """Add an element whose terminals are declared."""
        match element:
            case Hinge():
                self._hinges.append(element)
            case Rule():
                self._rules.append(element)
            case Knob():
                self._knobs[element.owner, element.name] = element
            case Ratio():
                self._ratios.append(element)
            case Storage():
                self._storages.append(element)

    def freeze(self) -> Network:
        """Turn what was collected into arrays."""
        names = tuple(self._nets) + tuple(self._inner)
        node = {GROUND: -1} | {name: i for i, name in enumerate(names)}
        terminals = tuple(self._terminals)
        number = {name: i for i, name in enumerate(terminals)}
        gates = dict(self._gates)
        rule_of: dict[str, int] = {}
        for k, rule in enumerate(self._rules):
            for gate in rule.outputs:
                gates[gate] = False
                rule_of[gate] = k
        gate_number = {name: i for i, name in enumerate(gates)}
        rows = [(row, rule.owner, k) for k, rule in enumerate(self._rules) for row in rule.rows]
        return Network(
            node_names=names,
            nets=len(self._nets),
            terminals=terminals,
            terminal_node=np.array([node[net] for net in self._terminals.values()], dtype=np.int64),
            owners=tuple(h.owner for h in self._hinges),
            roles=tuple(h.role for h in self._hinges),
            hinges=_ports(self._hinges, number, gate_number),
            gates=tuple(gates),
            gate_default=np.array(list(gates.values()), dtype=np.bool_),
            gate_rule=np.array([rule_of.get(name, -1) for name in gates], dtype=np.int64),
            rows=_rows([row for row, _, _ in rows], [k for _, _, k in rows], number),
            row_names=tuple(row.name for row, _, _ in rows),
            row_owners=tuple(owner for _, owner, _ in rows),
            row_high_impedance=np.array([row.high_impedance for row, _, _ in rows], dtype=np.bool_),
            rules=tuple(self._rules),
            row_start=np.cumsum([0] + [len(rule.rows) for rule in self._rules], dtype=np.int64),
            tables=tuple(_table(rule) for rule in self._rules),
            rule_gates=tuple(
                np.array([gate_number[gate] for gate in rule.outputs], dtype=np.int64) for rule in self._rules
            ),
            ratios=tuple(self._ratios),
            knobs=dict(self._knobs),
            storages=tuple(self._storages),
        )


def _ports(hinges: list[Hinge], number: Mapping[str, int], gate_number: Mapping[str, int]) -> Ports:
    by_role = {(h.owner, h.role): k for k, h in enumerate(hinges)}
    sense_at, sense_weight = weights((h.sense for h in hinges), number)
    inject_at, inject_weight = weights((h.inject for h in hinges), number)

    def others(choose: Callable[[Hinge], str | None]) -> Ints:
        roles = [(h.owner, choose(h)) for h in hinges]
        return np.array([-1 if role is None else by_role[owner, role] for owner, role in roles], dtype=np.int64)

    return Ports(
        sense_at=sense_at,
        sense_weight=sense_weight,
        inject_at=inject_at,
        inject_weight=inject_weight[None],
        conductance=np.array([h.conductance for h in hinges], dtype=np.float64)[None],
        threshold=np.array([h.threshold for h in hinges], dtype=np.float64)[None],
        gate=np.array([-1 if h.gate is None else gate_number[h.gate] for h in hinges], dtype=np.int64),
        clamped=np.array([h.clamped for h in hinges], dtype=np.bool_),
        after=others(lambda h: h.after),
        instead_of=others(lambda h: h.instead_of),
    )


def _rows(rows: list[Row], rules: list[int], number: Mapping[str, int]) -> RowArrays:
    rise_at, rise_weight = weights((row.rise for row in rows), number)
    fall_at, fall_weight = weights((row.rise if row.fall is None else row.fall for row in rows), number)
    return RowArrays(
        rise_at=rise_at,
        rise_weight=rise_weight,
        rising=np.array([row.rising for row in rows], dtype=np.float64),
        fall_at=fall_at,
        fall_weight=fall_weight,
        falling=np.array([row.falling for row in rows], dtype=np.float64),
        kind=np.array([row.kind for row in rows], dtype=np.int64),
        rule=np.array(rules, dtype=np.int64),
    )


def _table(rule: Rule) -> Ints:
    names = [row.name for row in rule.rows]
    table = np.zeros(1 << len(names), dtype=np.int64)
    for pattern in range(len(table)):
        sides = {name: bool(pattern >> i & 1) for i, name in enumerate(names)}
        for bit, function in enumerate(rule.outputs.values()):
            table[pattern] |= int(bool(function(sides))) << bit
    return table


class Owned:
    """A builder as one part sees it: its pins by their own names (`B`), its inner points as `:base`."""

    def __init__(self, builder: Builder, owner: str) -> None:
        self._builder = builder
        self.owner = owner

    def at(self, pin: str) -> str:
        """Terminal of a pin or inner point of this part."""
        return self.owner + pin if pin.startswith(":") else f"{self.owner}.{pin}"

    def has(self, pin: str) -> bool:
        """Tell whether the circuit connects this pin."""
        return self._builder.has(self.at(pin))

    def inner(self, label: str) -> str:
        """Declare the inner point ``:label`` and return that name."""
        self._builder.inner(f"{self.owner}:{label}")
        return f":{label}"

    def gate(self, label: str, *, on: bool) -> str:
        """Declare a gate that no rule drives (a switch's state) and return its name, ``OWNER:label``."""
        name = f"{self.owner}:{label}"
        self._builder.gate(name, on=on)
        return name

    def vector(self, mapping: Mapping[str, float]) -> dict[str, float]:
        """Rewrite a sparse vector over pins as one over terminals."""
        return {self.at(pin): weight for pin, weight in mapping.items() if weight}

    def conductance(self, role: str, first: str, second: str, siemens: float, gate: str | None = None) -> None:
        """Add a conductance between two pins, switched by ``gate`` if one is given."""
        self.hinge(role, {first: 1, second: -1}, {first: 1, second: -1}, siemens, gate=gate, clamped=False)

    def hinge(
        self,
        role: str,
        sense: Mapping[str, float],
        inject: Mapping[str, float],
        conductance: float,
        threshold: float = 0.0,
        *,
        gate: str | None = None,
        clamped: bool = True,
        after: str | None = None,
        instead_of: str | None = None,
    ) -> None:
        """Add a hinge; see `Hinge`. Terminals are named by pin."""
        self._builder.add(
            Hinge(
                self.owner,
                role,
                self.vector(sense),
                self.vector(inject),
                conductance,
                threshold,
                gate,
                clamped,
                after,
                instead_of,
            )
        )

    def row(
        self,
        name: str,
        rise: Mapping[str, float],
        rising: float,
        falling: float,
        kind: RowClass = RowClass.LOGIC,
        *,
        fall: Mapping[str, float] | None = None,
        high_impedance: bool = False,
    ) -> Row:
        """Make a rule row; terminals are named by pin."""
        return Row(
            name,
            self.vector(rise),
            rising,
            falling,
            kind,
            None if fall is None else self.vector(fall),
            high_impedance,
        )

    def rule(
        self,
        rows: tuple[Row, ...],
        outputs: Mapping[str, Callable[[Mapping[str, bool]], bool]],
        *,
        delays: Mapping[str, tuple[float, float]] | None = None,
        ramps: Mapping[str, tuple[str, float]] | None = None,
        pauses: Mapping[str, tuple[str, float]] | None = None,
    ) -> None:
        """Add a rule whose gates are called ``OWNER:label``; hinges name them by ``gate=part.gate_name(label)``.

        ``delays``, ``ramps`` and ``pauses`` are those of `Rule`, by label.
        """
        named = {self.gate_name(label): function for label, function in outputs.items()}
        late = {self.gate_name(label): seconds for label, seconds in (delays or {}).items()}
        rising = {self.gate_name(label): knob for label, knob in (ramps or {}).items()}
        resting = {self.gate_name(label): row for label, row in (pauses or {}).items()}
        self._builder.add(Rule(self.owner, rows, named, late, rising, resting))

    def gate_name(self, label: str) -> str:
        """Name of the gate ``label`` of this part."""
        return f"{self.owner}:{label}"

    def knob(self, name: str, neutral: float, spread: float, source: str, *turned: Turned) -> None:
        """Add a knob; ``turned`` are `Turned` whose inject vectors are over terminals already."""
        self._builder.add(Knob(self.owner, name, neutral, spread, source, tuple(turned)))

    def ratio(self, role: str, output: Mapping[str, float], input_: Mapping[str, float], efficiency: float) -> None:
        """Add the input-current ratio of a step-down regulator; see `Ratio`."""
        self._builder.add(Ratio(self.owner, role, self.vector(output), self.vector(input_), efficiency))

    def storage(self, plus: str, minus: str, farads: float) -> None:
        """Add a capacitance between two pins."""
        self._builder.add(Storage(self.owner, self.at(plus), self.at(minus), farads))
