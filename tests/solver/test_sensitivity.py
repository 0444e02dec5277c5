"""First-order changes of levels against the same boards solved again."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.circuit import compile_network, find_circuit, read_circuit, state_gates
from seqsim.network import Effect, Turn
from seqsim.solver import solve, thevenin_ohms
from seqsim.solver.sensitivity import node_impedance, sensitivities

STEP = 1e-3
"""Share of a standard deviation by which a knob is turned: small enough that no hinge changes its mode."""


@pytest.mark.parametrize("name", ["inverting_npn", "p_channel_high_side", "n_channel_pass", "double_inversion"])
def test_knobs_turned_a_little(name: str) -> None:
    """Each node moves with each knob as a board does that is solved again, within 1 % of the largest move and 1 µV."""
    circuit = read_circuit(find_circuit(name))
    network = compile_network(circuit)
    gates = state_gates(circuit, list(circuit.power_states)[-1])
    levels = solve(network, gates=gates)
    knobs = tuple(network.knobs.values())
    moves = sensitivities(levels, node_impedance(levels), knobs)
    for k, knob in enumerate(knobs):
        if all(turned.effect is Effect.ROW for turned in knob.turned) or not knob.spread:
            continue
        factor = knob.neutral == 1
        value = np.exp(STEP * knob.spread) if factor else knob.neutral + STEP * knob.spread
        again = solve(network, (Turn(knob.owner, knob.name, float(value)),), gates)
        seen = (again.volts - levels.volts)[:-1] / STEP
        allowed = 0.01 * np.abs(moves[:, k]).max() + 1e-6 / STEP
        assert np.abs(seen - moves[:, k]).max() < allowed, (knob.owner, knob.name)


def test_impedance_is_that_of_thevenin() -> None:
    """The diagonal of the inverse Jacobian is the resistance that a small test current sees."""
    circuit = read_circuit(find_circuit("inverting_npn"))
    levels = solve(compile_network(circuit), gates=state_gates(circuit, "shut"))
    network = levels.system.variant.network
    impedance = np.diag(node_impedance(levels))
    for net in network.node_names[: network.nets]:
        assert impedance[network.node_index[net]] == pytest.approx(thevenin_ohms(levels, net), rel=1e-9)
