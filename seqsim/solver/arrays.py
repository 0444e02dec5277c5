"""The arrays that the compiled functions work on, and the numbers by which they answer."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network.network import Bools, Floats, Ints

NEWTON, ONE_AT_A_TIME, LINE_SEARCH, SOURCE_STEPPING, FAILED = 0, 1, 2, 3, 4
"""How an analog solution was reached, in the order of `Way`."""
STEADY, OSCILLATES, NO_LEVEL = 0, 1, 2
"""How a board settles, in the order of `Steadiness`."""


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
    paces: Floats
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
