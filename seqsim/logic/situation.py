"""A board in one power state, solved, and ready to be solved again with something changed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from seqsim.circuit import Circuit, compile_network, resolve_place, state_gates
from seqsim.circuit.names import suggest
from seqsim.errors import NoSteadyLevelError, UnknownPlaceError
from seqsim.faults import find_fault, middle
from seqsim.network import GROUND, Network, Patch, vary
from seqsim.network.network import Bools, Floats
from seqsim.solver import FLOATING_OHMS, Levels, State, Steadiness, currents, flatten, solve_variant, static_gates
from seqsim.solver.plain import carried
from seqsim.solver.sensitivity import node_impedance

Named = tuple[str, tuple[Patch, ...]]
"""A fault's name with its patches."""


@dataclass(frozen=True)
class Situation:
    """The solution of a board in a power state, and the patches that made the board what it is."""

    circuit: Circuit
    network: Network
    state: str
    faults: tuple[str, ...]
    patches: tuple[Patch, ...]
    origins: tuple[str, ...]
    """name of the fault that each patch belongs to, empty for what belongs to none"""
    static: Bools
    levels: Levels

    def again(self, *changes: Patch, without: Iterable[Patch] = ()) -> Situation | None:
        """Return the board with further patches, led over from this state; None if it has no steady level then.

        ``without`` are patches of this situation that are left out.
        """
        left_out = set(map(id, without))
        kept = [k for k, patch in enumerate(self.patches) if id(patch) not in left_out]
        patches = (*(self.patches[k] for k in kept), *changes)
        origins = (*(self.origins[k] for k in kept), *("" for _ in changes))
        variant = vary(self.network, patches)
        start = carried(_unported(self.levels), flatten(variant))
        levels = solve_variant(variant, self.static, start)
        if levels.steadiness is not Steadiness.STEADY:
            return None
        return replace(self, patches=patches, origins=origins, levels=levels)

    @cached_property
    def memo(self) -> dict[Any, Any]:
        """What has been worked out about this solution, for whoever asks again."""
        return {}

    @cached_property
    def grounds(self) -> frozenset[int]:
        """Nodes that count as ground."""
        return frozenset({-1, *(self.node(ground) for ground in self.circuit.grounds)})

    @cached_property
    def node_of(self) -> dict[str, int]:
        """Node of each net and each cut-off piece, by the label that patches know."""
        variant = self.levels.system.variant
        network = self.network
        nets = {name: k for k, name in enumerate(network.node_names[: network.nets])}
        stubs = {name: len(network.node_names) + k for k, name in enumerate(variant.stubs)}
        return nets | stubs | {GROUND: -1}

    @cached_property
    def label_of(self) -> dict[int, str]:
        """Label of each node that is a net or a cut-off piece; ground is -1."""
        return {node: name for name, node in self.node_of.items()}

    @cached_property
    def pins_at(self) -> dict[int, tuple[str, ...]]:
        """Terminals on each node, inner points left out."""
        variant = self.levels.system.variant
        inner = set(self.network.node_names[self.network.nets :])
        found: dict[int, list[str]] = {}
        for terminal, node in zip(self.network.terminals, variant.pin_node, strict=True):
            if terminal not in inner:
                found.setdefault(int(node), []).append(terminal)
        return {node: tuple(pins) for node, pins in found.items()}

    def node(self, place: str) -> int:
        """Node of a label, pin or pad; -1 is ground. The label of a piece that is no longer cut off means its pin."""
        variant = self.levels.system.variant
        if "/" in place and place not in variant.stubs and not place.endswith("/pad"):
            place = place.rpartition("/")[0]
        return variant.node(place)

    def volts(self, place: str) -> float:
        """Volts at a label, pin or pad."""
        return float(self.levels.volts[self.node(place)])

    @cached_property
    def amps(self) -> Floats:
        """Current (h,) of every hinge."""
        return currents(self.levels)

    @cached_property
    def ohms(self) -> Floats:
        """Thevenin resistance (n,) of every node."""
        return np.asarray(np.diag(node_impedance(self.levels)))

    def floats(self, place: str) -> bool:
        """Tell whether nothing drives a place."""
        node = self.node(place)
        return node >= 0 and bool(self.ohms[node] > FLOATING_OHMS)

    @cached_property
    def owners(self) -> tuple[str, ...]:
        """Owner of each hinge, numbered through."""
        return (*self.network.owners, *self.levels.system.variant.port_owners)

    @cached_property
    def roles(self) -> tuple[str, ...]:
        """Role of each hinge, numbered through."""
        return (*self.network.roles, *self.levels.system.variant.port_roles)

    @property
    def oscillates(self) -> bool:
        """Tell whether the levels are the average of a cycle."""
        return self.levels.steadiness is Steadiness.OSCILLATES


def _unported(levels: Levels) -> State:
    """Return a state over the hinges of the network alone: a patched hinge stands as its port stood."""
    variant = levels.system.variant
    base = len(variant.network.owners)
    conducting = levels.state.conducting[:base].copy()
    ported = variant.port_of >= 0
    conducting[variant.port_of[ported]] = levels.state.conducting[base:][ported]
    return State(conducting, levels.state.above, levels.state.ratios)


def situation(
    circuit: Circuit,
    state: str | None = None,
    faults: Iterable[str | Named] = (),
    *,
    network: Network | None = None,
) -> Situation:
    """Return a board in a power state, all states before it gone through.

    Parameters
    ----------
    state
        Name of a power state; the last one if not given.
    faults
        Faults by name, or names with the patches that stand for them.
    network
        The network of the circuit, where the caller has it already.

    Raises
    ------
    UnknownPlaceError
        If there is no such state or fault.
    NoSteadyLevelError
        If no steady level is found.
    """
    wanted = known_state(circuit, state)
    broken = [_named(circuit, fault) for fault in faults]
    patches = tuple(patch for _, its in broken for patch in its)
    origins = tuple(name for name, its in broken for _ in its)
    network = compile_network(circuit) if network is None else network
    variant = vary(network, patches)
    levels: Levels | None = None
    static = static_gates(network, state_gates(circuit, wanted))
    for passed in circuit.power_states:
        static = static_gates(network, state_gates(circuit, passed))
        levels = solve_variant(variant, static, None if levels is None else levels.state)
        if passed == wanted:
            break
    if levels is None or levels.steadiness is Steadiness.FAILED:
        message = f"no steady level was found in state {wanted}; the values of a part may be extreme"
        raise NoSteadyLevelError(message, file=circuit.file, place=wanted)
    names = tuple(name for name, _ in broken)
    return Situation(circuit, network, wanted, names, patches, origins, static, levels)


def known_state(circuit: Circuit, state: str | None) -> str:
    """Return the name of a power state, the last one for None.

    Raises
    ------
    UnknownPlaceError
        If there is no such state.
    """
    states = list(circuit.power_states)
    wanted = states[-1] if state is None else state
    if wanted not in states:
        message = f"there is no power state called '{wanted}'{suggest(wanted, states)}"
        raise UnknownPlaceError(message, place=wanted, got=wanted)
    return wanted


def point(circuit: Circuit, text: str | None) -> str:
    """Return the point of the network that a place means: of copper its first end, for None the target.

    Raises
    ------
    UnknownPlaceError
        If there is no such place, or no target where one is needed.
    """
    if text is None:
        if circuit.target is None:
            raise UnknownPlaceError("the circuit file names no target; say which node is meant", file=circuit.file)
        text = circuit.target
    return resolve_place(circuit, text).points[0]


def _named(circuit: Circuit, fault: str | Named) -> Named:
    if not isinstance(fault, str):
        return fault
    found, severity = find_fault(circuit, fault)
    return fault, found.patches(middle(found.severity) if severity is None else severity)
