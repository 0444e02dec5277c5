"""Patched networks: what differs from the network as built, in the form that both solvers take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seqsim.errors import UnknownPlaceError
from seqsim.network.network import Floats, Ints, Network, Ports, RowArrays


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
    def as_drawn(self) -> bool:
        """Whether a probe finds every pin, and the copper under it, where the drawing has it."""
        drawn = self.network.terminal_node
        return self.tip_node is drawn and self.pad_node is drawn

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
        return node_at(self.network, self.tip_node, self.pad_node, self.stubs, place)


def node_at(network: Network, tip_node: Ints, pad_node: Ints, stubs: Sequence[str], place: str) -> int:
    """Node of a place, given where probes on pins and on the copper under them touch; see `Variant.node`."""
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
