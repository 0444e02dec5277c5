"""The arrays that the compiled functions work on, and the numbers by which they answer."""

from __future__ import annotations

from typing import NamedTuple

from numpy import int8, uint64
from numpy.typing import NDArray

from seqsim.network.network import Bools, Floats, Ints

NEWTON, LINE_SEARCH, SOURCE_STEPPING, FAILED = 0, 1, 2, 3
"""How an analog solution was reached, in the order of `Way`."""
STEADY, OSCILLATES, NO_LEVEL = 0, 1, 2
"""How a board settles, in the order of `Steadiness`."""


class Hinges(NamedTuple):
    """Hinges of the network, then room for the ports of one variant; nodes with ground last."""

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
    label: NDArray[uint64]
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
    gate_force: NDArray[int8]
    side_force: NDArray[int8]


class Ratios(NamedTuple):
    """Input-current ratios: hinge, nodes (k, 2, WIDTH) and weights of output and input."""

    at: Ints
    nodes: Ints
    weights: Floats
    efficiency: Floats
    floor: Floats


class Reference(NamedTuple):
    """The factorised reference: inverse (N, N), zero at ground, volts (N,), conductance (h,) of each hinge."""

    inverse: Floats
    volts: Floats
    active: Floats


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
    right: Floats
    nodal: Floats
    active: Floats
    size: Ints
    """size[0]: hinges in the network and the variant; size[1]: number chosen"""
