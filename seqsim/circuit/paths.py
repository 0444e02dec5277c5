"""Where current can flow on a board, read from the structure of its network alone: no levels are solved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from seqsim.circuit.compile import compile_network
from seqsim.circuit.model import Circuit
from seqsim.network import GROUND, Network

_PASSING_ROLES = ("clamp", "body diode", "base-collector junction")
"""Parts of roles that protect or come along: what only they feed is back-fed, not driven."""
STIFF_OHMS = 200.0
"""A supply behind more than this (Ω) is a signal, not a source of power (our judgement)."""
LINK_SIEMENS = 1.0
"""A part of at most 1 Ω (a fuse, a bead, a closed switch, a load switch) carries a supply on to its other side."""


@dataclass(frozen=True, slots=True)
class Flow:
    """A way that a part offers for current from one node to another."""

    source: str
    sink: str
    siemens: float
    owner: str


class Paths:
    """The flows of a circuit, and what can be told from them.

    ``up`` are the nodes that a positive supply can feed, ``down`` those that can give current to ground or to a
    negative supply.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.into: dict[str, list[Flow]] = {}
        self.out_of: dict[str, list[Flow]] = {}
        for flow in (*_flows(compile_network(circuit)), *_converters(circuit)):
            self.into.setdefault(flow.sink, []).append(flow)
            self.out_of.setdefault(flow.source, []).append(flow)

    @cached_property
    def up(self) -> frozenset[str]:
        """Nodes that a positive supply can feed."""
        return self._reach({s.net for s in self.circuit.supplies.values() if s.volts >= 0}, self.out_of, forward=True)

    @cached_property
    def down(self) -> frozenset[str]:
        """Nodes that can give current to ground or to a negative supply."""
        return self._reach({GROUND, *self.negative_supplies}, self.into, forward=False)

    @cached_property
    def below_ground(self) -> frozenset[str]:
        """Nodes that can give current to a negative supply."""
        return self._reach(self.negative_supplies, self.into, forward=False)

    @property
    def negative_supplies(self) -> set[str]:
        """Nets of supplies below ground."""
        return {supply.net for supply in self.circuit.supplies.values() if supply.volts < 0}

    @staticmethod
    def _reach(start: Iterable[str], flows: Mapping[str, list[Flow]], *, forward: bool) -> frozenset[str]:
        found = set(start)
        ahead = list(found)
        while ahead:
            for flow in flows.get(ahead.pop(), ()):
                node = flow.sink if forward else flow.source
                if node not in found and node != GROUND:
                    found.add(node)
                    ahead.append(node)
        return frozenset(found)

    @cached_property
    def stiff(self) -> Mapping[str, float]:
        """Volts of the nets that are sources of power when all is on: grounds, supplies, rails, regulator outputs."""
        found = dict.fromkeys(self.circuit.grounds, 0.0)
        for supply in self.circuit.supplies.values():
            if supply.ohms <= STIFF_OHMS:
                found.setdefault(supply.net, supply.volts)
        for rail in self.circuit.rails.values():
            found.setdefault(rail.net, rail.volts)
        for part in self.circuit.parts.values():
            volts = getattr(part, "volts", None)
            if part.kind == "regulator" and "OUT" in part.pins and isinstance(volts, float):
                found.setdefault(part.pins["OUT"], volts)
        ahead = [net for net in found if net not in self.circuit.grounds]
        while ahead:
            net = ahead.pop()
            for flow in self.out_of.get(net, ()):
                owner = self.circuit.parts.get(flow.owner)
                linked = owner is not None and (owner.passive or owner.kind == "load_switch")
                if linked and flow.siemens >= LINK_SIEMENS and flow.sink not in found:
                    found[flow.sink] = found[net]
                    ahead.append(flow.sink)
        return found

    def highest(self, node: str) -> float | None:
        """Return the highest volts of a source of power that can feed a node; None if there is none."""
        return self._extreme(node, self.into, max)

    def lowest(self, node: str) -> float | None:
        """Return the lowest volts of a source of power that a node can give current to; None if there is none."""
        return self._extreme(node, self.out_of, min)

    def _extreme(
        self, node: str, flows: Mapping[str, list[Flow]], choose: Callable[[list[float]], float]
    ) -> float | None:
        if node in self.stiff:
            return self.stiff[node]
        seen, ahead = {node}, [node]
        volts: list[float] = []
        while ahead:
            for flow in flows.get(ahead.pop(), ()):
                other = flow.source if flows is self.into else flow.sink
                if other in self.stiff:
                    volts.append(self.stiff[other])
                elif other not in seen:
                    seen.add(other)
                    ahead.append(other)
        return choose(volts) if volts else None


def _converters(circuit: Circuit) -> Iterator[Flow]:
    """Yield the power that goes from input to output where no current does: in step-down regulators."""
    for part in circuit.parts.values():
        if "IN" in part.pins and "OUT" in part.pins:
            yield Flow(part.pins["IN"], part.pins["OUT"], LINK_SIEMENS, part.name)


def _flows(network: Network) -> Iterator[Flow]:
    """Yield the flows that the hinges of a network offer; limits only take back what others give."""
    hinges = network.hinges
    names = (*network.node_names, GROUND)
    for k, (owner, role) in enumerate(zip(network.owners, network.roles, strict=True)):
        if hinges.after[k] >= 0 or any(word in role for word in _PASSING_ROLES):
            continue
        weights: dict[str, float] = {}
        for terminal, weight in zip(hinges.inject_at[k], hinges.inject_weight[0, k], strict=True):
            if terminal >= 0:
                name = names[network.terminal_node[terminal]]
                weights[name] = weights.get(name, 0.0) + float(weight)
        weights[GROUND] = -sum(weight for name, weight in weights.items() if name != GROUND)
        for source, drawn in weights.items():
            for sink, given in weights.items():
                if drawn > 1e-12 and given < -1e-12:
                    siemens = float(hinges.conductance[0, k]) * min(drawn, -given)
                    yield Flow(source, sink, siemens, owner)
                    if not hinges.clamped[k]:
                        yield Flow(sink, source, siemens, owner)
