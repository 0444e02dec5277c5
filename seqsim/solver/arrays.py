"""The arrays that the compiled functions work on, and the numbers by which they answer."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.plain import NEWTON_STEPS, ROUNDS

NEWTON, ONE_AT_A_TIME, LINE_SEARCH, SOURCE_STEPPING, FAILED = 0, 1, 2, 3, 4
"""How an analog solution was reached, in the order of `Way`."""
STEADY, OSCILLATES, NO_LEVEL = 0, 1, 2
"""How a board settles, in the order of `Steadiness`."""
HINGES, CHOSEN, NODES, DIRECT = 0, 1, 2, 3
"""Places in `Work.size`."""


class Hinges(NamedTuple):
    """Hinges of the network, then room for the ports of one variant and a meter; nodes with ground last."""

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
    label: NDArray[np.uint64]
    """one random number a hinge: the exclusive or of those that conduct names a set of modes"""


class Rules(NamedTuple):
    """Rule rows and tables, flat; ``gates`` are the static gates of the power state."""

    rise_at: Ints
    rise_weight: Floats
    rising: Floats
    fall_at: Ints
    fall_weight: Floats
    falling: Floats
    kind: Ints
    row_start: Ints
    table_start: Ints
    table: Ints
    gate_start: Ints
    driven: Ints
    gates: Bools
    gate_force: NDArray[np.int8]
    side_force: NDArray[np.int8]


class Ratios(NamedTuple):
    """Input-current ratios: hinge, nodes (k, 2, WIDTH) and weights of output and input."""

    at: Ints
    nodes: Ints
    weights: Floats
    efficiency: Floats
    floor: Floats


class Reference(NamedTuple):
    """The factorised reference.

    ``inverse`` (N, N), zero at ground, and its transpose ``columns``; ``volts`` (N,); ``active`` (h,), the conductance
    of each hinge of the network; ``sign[0]``, that of the Jacobian's determinant.
    """

    inverse: Floats
    columns: Floats
    volts: Floats
    active: Floats
    sign: Floats


class Work(NamedTuple):
    """Scratch space, and the answer: volts (N,), conducting (t,), above (r,), ratios (k,)."""

    volts: Floats
    conducting: Bools
    wanted: Bools
    across: Floats
    gates: Bools
    above: Bools
    fresh: Bools
    ratios: Floats
    chosen: Ints
    delta: Floats
    tau: Floats
    small: Floats
    """I + δ M of the chosen hinges, factorised in place"""
    pivots: Ints
    full: Floats
    """the Jacobian over the nodes, factorised in place, where that is the smaller one"""
    full_pivots: Ints
    right: Floats
    nodal: Floats
    left: Floats
    step: Floats
    active: Floats
    modes_seen: NDArray[np.uint64]
    names_seen: NDArray[np.uint64]
    sides_seen: Bools
    volts_seen: Floats
    size: Ints
    """hinges in the network and the variant, number chosen, nodes in use, and 1 where ``full`` is used"""


def workspace(nodes: int, hinges: int, rows: int, gates: int, ratios: int) -> Work:
    """Return scratch space for a network of that size."""
    chosen = min(hinges, nodes)
    return Work(
        volts=np.zeros(nodes),
        conducting=np.zeros(hinges, dtype=np.bool_),
        wanted=np.zeros(hinges, dtype=np.bool_),
        across=np.zeros(hinges),
        gates=np.zeros(gates, dtype=np.bool_),
        above=np.zeros(rows, dtype=np.bool_),
        fresh=np.zeros(rows, dtype=np.bool_),
        ratios=np.zeros(ratios),
        chosen=np.zeros(chosen, dtype=np.int64),
        delta=np.zeros(chosen),
        tau=np.zeros(chosen),
        small=np.zeros((chosen, chosen)),
        pivots=np.zeros(chosen, dtype=np.int64),
        right=np.zeros(chosen),
        full=np.zeros((nodes, nodes)),
        full_pivots=np.zeros(nodes, dtype=np.int64),
        nodal=np.zeros(nodes),
        left=np.zeros(nodes),
        step=np.zeros(nodes),
        active=np.zeros(hinges),
        modes_seen=np.zeros(max(NEWTON_STEPS, 1), dtype=np.uint64),
        names_seen=np.zeros(ROUNDS, dtype=np.uint64),
        sides_seen=np.zeros((ROUNDS, rows), dtype=np.bool_),
        volts_seen=np.zeros((ROUNDS, nodes)),
        size=np.zeros(4, dtype=np.int64),
    )
