"""One network at one severity, flat: what the plain solver works on."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np

from seqsim.network import Variant
from seqsim.network.network import Bools, Floats, Ints

MOST_DENSE = 150
"""Nodes up to which a full matrix is solved; beyond, a sparse one where SciPy is installed, which is much quicker."""
LEAK = 1e-9
"""Siemens from every node to ground (SPICE gets the same as rshunt 1e9): it makes a floating node's matrix regular."""


@dataclass(frozen=True, slots=True)
class System:
    """Hinges numbered through (network, then ports) over nodes 0 … n-1; node n stands for ground.

    ``cells`` and ``products`` (h, WIDTH²) are the entries of the Jacobian that a hinge of one siemens adds to.

    ``sense_at`` and ``inject_at`` (h, WIDTH) hold nodes, with weight 0 where unused. ``alive`` (h,) is false for
    hinges that a patch replaced or disabled.
    """

    variant: Variant
    nodes: int
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
    alive: Bools
    rising: Floats
    falling: Floats
    cells: Ints
    products: Floats

    def across(self, volts: Floats) -> Floats:
        """Return ``sense·v - threshold`` of every hinge; ``volts`` (n + 1,) ends with ground's zero."""
        return np.asarray((self.sense_weight * volts[self.sense_at]).sum(axis=1) - self.threshold)

    def matrix(self, active: Floats) -> Floats:
        """Return the Jacobian (n, n) with hinge ``k`` conducting ``active[k]`` siemens."""
        n = self.nodes
        used = np.flatnonzero(active)
        terms = active[used, None] * self.products[used]
        full = np.asarray(np.bincount(self.cells[used].ravel(), terms.ravel(), (n + 1) ** 2), dtype=np.float64)
        jacobian = full.reshape(n + 1, n + 1)[:n, :n]
        jacobian[np.arange(n), np.arange(n)] += LEAK
        return jacobian

    def solve(self, active: Floats, right: Floats) -> Floats:
        """Return the solution (n,) of the equations of `matrix` for a right side.

        Raises
        ------
        numpy.linalg.LinAlgError
            If the matrix is singular.
        """
        if self.nodes <= MOST_DENSE or find_spec("scipy") is None:
            return np.asarray(np.linalg.solve(self.matrix(active), right))
        from scipy.sparse import coo_array, diags_array
        from scipy.sparse.linalg import splu

        used = np.flatnonzero(active)
        terms = (active[used, None] * self.products[used]).ravel()
        row, column = np.divmod(self.cells[used].ravel(), self.nodes + 1)
        inside = (terms != 0) & (row < self.nodes) & (column < self.nodes)
        shape = (self.nodes, self.nodes)
        matrix = coo_array((terms[inside], (row[inside], column[inside])), shape).tocsc()
        try:
            return np.asarray(splu((matrix + LEAK * diags_array(np.ones(self.nodes))).tocsc()).solve(right))
        except RuntimeError as error:
            raise np.linalg.LinAlgError(str(error)) from error

    def right_side(self, active: Floats) -> Floats:
        """Return the source vector (n,) that belongs to `matrix`."""
        return self.drawn(active * self.threshold)[: self.nodes]

    def drawn(self, amps: Floats) -> Floats:
        """Return the current (n + 1,) that hinges carrying ``amps`` (h,) draw from each node, ground last."""
        terms = self.inject_weight * amps[:, None]
        return np.asarray(np.bincount(self.inject_at.ravel(), terms.ravel(), self.nodes + 1), dtype=np.float64)


def flatten(variant: Variant, severity: int = 0) -> System:
    """Return the system of a variant at one of its severities."""
    network, ports = variant.network, variant.ports
    base = network.hinges
    n = variant.size
    node_of = np.append(network.terminal_node, -1)  # an unused place looks up ground

    def ground(at: Ints) -> Ints:
        return np.where(at < 0, n, at)

    alive = np.ones(len(network.owners) + len(ports.gate), dtype=np.bool_)
    alive[variant.replaced] = False
    sense_at = ground(np.concatenate([node_of[base.sense_at], ports.sense_at]))
    sense_weight = np.concatenate([base.sense_weight, ports.sense_weight])
    inject_at = ground(np.concatenate([node_of[base.inject_at], ports.inject_at]))
    inject_weight = np.concatenate([base.inject_weight[0], ports.inject_weight[severity]])
    return System(
        variant=variant,
        nodes=n,
        sense_at=sense_at,
        sense_weight=sense_weight,
        inject_at=inject_at,
        inject_weight=inject_weight,
        conductance=np.concatenate([base.conductance[0], ports.conductance[severity]]),
        threshold=np.concatenate([base.threshold[0], ports.threshold[severity]]),
        gate=np.concatenate([base.gate, ports.gate]),
        clamped=np.concatenate([base.clamped, ports.clamped]),
        after=np.concatenate([base.after, ports.after]),
        instead_of=np.concatenate([base.instead_of, ports.instead_of]),
        alive=alive,
        rising=variant.rows.rising[severity],
        falling=variant.rows.falling[severity],
        cells=(inject_at[:, :, None] * (n + 1) + sense_at[:, None, :]).reshape(len(alive), -1),
        products=(inject_weight[:, :, None] * sense_weight[:, None, :]).reshape(len(alive), -1),
    )
