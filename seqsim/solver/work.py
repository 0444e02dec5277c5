"""Scratch space of the compiled functions, and their answer."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.plain import NEWTON_STEPS, ROUNDS
from seqsim.solver.sparse import Sparse, sparse

HINGES, CHOSEN, WHOLE, STRUCTURE, LIVE, BEGIN, END, KEPT = 0, 1, 2, 3, 4, 5, 6, 7
"""Places in `Work.size`."""
UPDATE, SPARSE, DENSE = 0, 1, 2
"""What ``size[WHOLE]`` can say: which equations are prepared."""
UNKNOWN, KNOWN, TOO_LARGE = 0, 1, 2
"""What ``size[STRUCTURE]`` can say: whether the nodes' own equations have been looked at."""
NO_GUESS = -1
"""What ``size[KEPT]`` says where nothing is to be kept of the rounds."""
TRAIL = 12
"""Rounds of which the modes are kept for the next severity."""
FEW, NODES_A_HINGE = 10, 16
"""So many flipped hinges, and one more for so many nodes, cost as much as the equations of the nodes."""


MOST_MOVED = 6
"""Hinges that a meter may move before the board is settled anew."""


class Ports(NamedTuple):
    """A meter, and the hinges that it moves, beside a settled board.

    ``moved`` (m,) and whether they conducted before, ``columns`` (m + 1, N) what a current at each does to the volts,
    the meter's first, and their equations.
    """

    moved: Ints
    was: Bools
    columns: Floats
    matrix: Floats
    pivots: Ints
    right: Floats


class Work(NamedTuple):
    """Scratch space, and the answer: volts (N,), conducting (t,), above (r,), ratios (k,)."""

    volts: Floats
    conducting: Bools
    wanted: Bools
    across: Floats
    gates: Bools
    above: Bools
    fresh: Bools
    beyond: Floats
    ratios: Floats
    chosen: Ints
    delta: Floats
    tau: Floats
    small: Floats
    """I + δ M of the chosen hinges, factorised in place"""
    pivots: Ints
    sparse: Sparse
    """the equations of the nodes, where they are quicker to solve than those of the chosen hinges"""
    full_pivots: Ints
    doubt: Floats
    right: Floats
    nodal: Floats
    left: Floats
    step: Floats
    active: Floats
    modes_seen: NDArray[np.uint64]
    names_seen: NDArray[np.uint64]
    sides_seen: Bools
    volts_seen: Floats
    trail_sides: Bools
    trail_modes: Bools
    """sides and modes of the first rounds at the severity before: the next one mostly goes the same way"""
    ports: Ports
    size: Ints
    """hinges of network and variant; number chosen; which equations are prepared; what is known of the nodes' own;
    nodes of network and variant: what stubs there is room for beyond them stays at zero; the first round of a cycle in
    ``volts_seen``, and the one after its last; rounds kept for the next severity"""


def workspace(place: Ints, hinges: int, rows: int, gates: int, ratios: int) -> Work:
    """Return scratch space for a network of that size; ``place`` (N,) is the order in which nodes are eliminated."""
    nodes = len(place)
    chosen = FEW + nodes // NODES_A_HINGE
    return Work(
        volts=np.zeros(nodes),
        conducting=np.zeros(hinges, dtype=np.bool_),
        wanted=np.zeros(hinges, dtype=np.bool_),
        across=np.zeros(hinges),
        gates=np.zeros(gates, dtype=np.bool_),
        above=np.zeros(rows, dtype=np.bool_),
        fresh=np.zeros(rows, dtype=np.bool_),
        beyond=np.zeros(rows),
        ratios=np.zeros(ratios),
        chosen=np.zeros(chosen, dtype=np.int64),
        delta=np.zeros(chosen),
        tau=np.zeros(chosen),
        small=np.zeros((chosen, chosen)),
        pivots=np.zeros(chosen, dtype=np.int64),
        doubt=np.zeros(chosen),
        right=np.zeros(chosen),
        sparse=sparse(place, hinges),
        full_pivots=np.zeros(nodes, dtype=np.int64),
        nodal=np.zeros(nodes),
        left=np.zeros(nodes),
        step=np.zeros(nodes),
        active=np.zeros(hinges),
        modes_seen=np.zeros(NEWTON_STEPS, dtype=np.uint64),
        names_seen=np.zeros(ROUNDS, dtype=np.uint64),
        sides_seen=np.zeros((ROUNDS, rows), dtype=np.bool_),
        volts_seen=np.zeros((ROUNDS, nodes)),
        trail_sides=np.zeros((TRAIL, rows), dtype=np.bool_),
        trail_modes=np.zeros((TRAIL, hinges), dtype=np.bool_),
        ports=Ports(
            np.zeros(MOST_MOVED, dtype=np.int64),
            np.zeros(MOST_MOVED, dtype=np.bool_),
            np.zeros((MOST_MOVED + 1, nodes)),
            np.zeros((MOST_MOVED + 1, MOST_MOVED + 1)),
            np.zeros(MOST_MOVED + 1, dtype=np.int64),
            np.zeros(MOST_MOVED + 1),
        ),
        size=np.zeros(8, dtype=np.int64),
    )
