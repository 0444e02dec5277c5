"""What must hold on any board: Kirchhoff, energy, the supplies' span, and independence of the order of a file."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_board import DISCRETE, NETS, PASSIVE, Board, boards

from seqsim.circuit import compile_network, find_circuit, read_circuit, state_gates
from seqsim.network import Move, vary
from seqsim.solver import Levels, Steadiness, currents, residual, solve, solve_variant
from seqsim.solver.system import LEAK

ROUNDING = 1e-11
"""Share of the largest current that rounding may leave: volts lose it in differences across stiff supplies."""
LAW = 0.05
"""Volts by which a transistor may leave the span of its supplies: its law has three chords."""


def settled(board: Board) -> Levels:
    """Levels of a board with all supplies applied."""
    network = board.network()
    return solve_variant(vary(network), board.static(network))


@settings(max_examples=80, deadline=None)
@given(boards())
def test_currents_balance_at_every_node(board: Board) -> None:
    """Kirchhoff: what is left over at a node is rounding, measured by the largest current on the board."""
    levels = settled(board)
    assert levels.steadiness is not Steadiness.FAILED
    if levels.steadiness is Steadiness.STEADY:
        stiffest = float(np.abs(levels.active()).max()) * max(1.0, float(np.abs(levels.volts).max()))
        assert np.abs(residual(levels)).max() <= ROUNDING * stiffest


@settings(max_examples=80, deadline=None)
@given(boards())
def test_energy(board: Board) -> None:
    """What supplies give, parts turn into heat: the sum is zero, and no part but a supply or a chip gives any."""
    levels = settled(board)
    if levels.steadiness is not Steadiness.STEADY:
        return
    system, amps = levels.system, currents(levels)
    across = (system.inject_weight * levels.volts[system.inject_at]).sum(axis=1)
    watts = amps * across
    total = float(watts.sum() + LEAK * (levels.volts**2).sum())
    size = float(np.abs(watts).sum())
    assert abs(total) <= 1e-6 * size + 1e-9
    by_owner: dict[str, float] = {}
    for owner, value in zip(system.variant.network.owners, watts, strict=True):
        by_owner[owner] = by_owner.get(owner, 0.0) + float(value)
    passive = {part.name for part in board.parts if "VCC" not in part.pins}
    for owner in passive & by_owner.keys():
        assert by_owner[owner] >= -1e-9 * size - 1e-12, owner


@settings(max_examples=80, deadline=None)
@given(boards())
def test_levels_lie_inside_the_span_of_the_supplies(board: Board) -> None:
    """No net is above the highest or below the lowest supply, ground among them."""
    levels = settled(board)
    for net in NETS:
        assert -LAW <= levels.at(net) <= 12 + LAW, net


@settings(max_examples=60, deadline=None)
@given(boards(PASSIVE))
def test_resistors_and_diodes_keep_exactly_inside(board: Board) -> None:
    """Without transistors the span holds to rounding, and the board always settles."""
    levels = settled(board)
    assert levels.steadiness is Steadiness.STEADY
    for net in NETS:
        assert -1e-6 <= levels.at(net) <= 12 + 1e-6, net


@settings(max_examples=60, deadline=None)
@given(boards(), st.data())
def test_a_cut_off_part_carries_nothing(board: Board, data: st.DataObject) -> None:
    """With all pins but one in the air a part draws no current that a meter would see."""
    part = data.draw(st.sampled_from(board.parts))
    network = board.network()
    cut = tuple(Move((part.pin(pin),), f"{pin} in the air", joint=True) for pin in list(part.pins)[1:])
    levels = solve_variant(vary(network, cut), board.static(network))
    if levels.steadiness is not Steadiness.STEADY:
        return
    variant = levels.system.variant
    owners = np.array([*network.owners, *variant.port_owners])
    drawn = np.zeros(levels.system.nodes + 1)
    own = owners == part.name
    np.add.at(drawn, levels.system.inject_at[own], levels.system.inject_weight[own] * currents(levels)[own][:, None])
    # 1 nS of leakage at each loose pin, at most 12 V or what a gate's output gives
    assert abs(drawn[variant.node(part.pin(next(iter(part.pins))))]) < 1e-6


@settings(max_examples=40, deadline=None)
@given(boards(DISCRETE), st.randoms(use_true_random=False))
def test_order_changes_nothing(board: Board, random: Random) -> None:
    """Parts, and with them nets, listed in another order: the same levels.

    Gates are left out here: where they make a latch that nothing tips, the order is all that decides.
    """
    shuffled = list(board.parts)
    random.shuffle(shuffled)
    first = settled(board)
    second = settled(Board(board.supplies[::-1], tuple(shuffled)))
    assert first.steadiness is second.steadiness
    if first.steadiness is Steadiness.STEADY:
        for net in NETS:
            assert abs(first.at(net) - second.at(net)) < 1e-6, net


@pytest.mark.parametrize("name", ["greenhouse_fan", "beehive_scale", "power_good_chain", "diode_wired_and"])
def test_order_changes_nothing_with_rules(name: str) -> None:
    """A board of the library with its parts listed backwards: the same levels in every power state."""
    circuit = read_circuit(find_circuit(name))
    backwards = circuit.model_copy(update={"parts": dict(list(circuit.parts.items())[::-1])})
    first, second = compile_network(circuit), compile_network(backwards)
    before: Levels | None = None
    after: Levels | None = None
    for state in circuit.power_states:
        gates = state_gates(circuit, state)
        before = solve(first, gates=gates, start=None if before is None else before.state)
        after = solve(second, gates=gates, start=None if after is None else after.state)
        for net in first.node_names[: first.nets]:
            assert before.at(net) == pytest.approx(after.at(net), abs=1e-6), (state, net)
