"""How far a level may lie from its nominal value on a healthy board: first order, from the knobs of the parts."""

from __future__ import annotations

import numpy as np

from seqsim.network import Effect, Knob
from seqsim.network.network import Floats, Ints
from seqsim.solver.plain import currents
from seqsim.solver.state import Levels


def node_impedance(levels: Levels) -> Floats:
    """Return the inverse Jacobian (n, n) in Ω; its diagonal is the Thevenin resistance of each node."""
    return np.asarray(np.linalg.inv(levels.system.matrix(levels.active())))


def sensitivities(levels: Levels, impedance: Floats, knobs: tuple[Knob, ...]) -> Floats:
    """Return the change (n, k) of each node, in volts, for one standard deviation of each knob.

    With ``F(v, p) = sum over hinges of inject · g · max(sense·v - t, 0) = 0``, a change of ``p`` moves the nodes by
    ``-Z ∂F/∂p``: a factor on ``g`` adds its share of the hinge's current, a shift of ``t`` takes ``g`` away, a gain
    adds current where it injects. Thresholds of rules move no level by themselves.
    """
    system = levels.system
    active, amps = levels.active(), currents(levels)
    drawn = np.zeros((system.nodes + 1, len(knobs)))
    position = _positions(levels)
    network = system.variant.network
    node = np.append(system.variant.pin_node, -1)
    for k, knob in enumerate(knobs):
        for turned in knob.turned:
            if turned.effect is Effect.ROW:
                continue
            for hinge in network.hinges_of.get(knob.owner, ()):
                h = position[hinge]
                if network.roles[hinge] != turned.role or not active[h]:
                    continue
                if turned.effect is Effect.GAIN:
                    for terminal, weight in turned.inject.items():
                        drawn[node[network.terminal_index[terminal]], k] += amps[h] * weight * turned.coefficient
                    continue
                change = amps[h] if turned.effect is Effect.SCALE else -active[h]
                np.add.at(drawn[:, k], system.inject_at[h], system.inject_weight[h] * change * turned.coefficient)
    spread = np.array([knob.spread for knob in knobs])
    return np.asarray(-impedance @ drawn[:-1] * spread)


def _positions(levels: Levels) -> Ints:
    """Number of each hinge of the network in the patched system: a patched one has its port's number."""
    variant = levels.system.variant
    base = len(variant.network.owners)
    position = np.arange(base)
    for port, hinge in enumerate(variant.port_of):
        if hinge >= 0:
            position[hinge] = base + port
    return position
