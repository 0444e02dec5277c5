"""Variants, readings and spreads as flat arrays, the way in which the compiled kernel takes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seqsim.network import WIDTH, Effect, Network, RowArrays, Variant
from seqsim.network.network import Bools, Floats, Ints

STUBS = 24
"""Nodes that patches may add."""


class Pack(NamedTuple):
    """Variants end to end.

    Port ``q`` of a variant lies at ``port_start + q`` for what all severities share, and at severity ``s`` at
    ``wide_start + s * ports + q`` for what differs.
    """

    port_start: Ints
    wide_start: Ints
    severities: Ints
    stubs: Ints
    """how many nodes each variant adds"""
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
    port_of: Ints
    replaced_start: Ints
    replaced: Ints
    row_set: Ints
    """which set of rule rows a variant has, 0 is the network's own"""
    rise_at: Ints
    rise_weight: Floats
    rising: Floats
    fall_at: Ints
    fall_weight: Floats
    falling: Floats
    gate_force: NDArray[np.int8]
    side_force: NDArray[np.int8]
    ratio_at: Ints
    ratio_nodes: Ints


class Probes(NamedTuple):
    """Readings to take: nodes (variants, r) of the leads, and what the meter is, a source behind a conductance."""

    plus: Ints
    minus: Ints
    siemens: Floats
    volts: Floats
    most: Floats
    """threshold of the limit hinge; infinite without a limit"""


class Latents(NamedTuple):
    """What spreads, as entries over hinges.

    Each has its latent, hinge, effect (0 scale, 1 shift, 2 gain), coefficient times the standard deviation, and for
    gains the weights at the hinge's inject places; ``size`` latents there are.
    """

    latent: Ints
    hinge: Ints
    effect: Ints
    coefficient: Floats
    weight: Floats
    size: int


class Solved(NamedTuple):
    """What came out, one row an item.

    Volts (i, N) with ground last, where they are kept, state, steadiness and way, and per reading the volts (i, r),
    the Thevenin ohms without the meter (i, r), by how much the volts swing where the board oscillates (i, r) and,
    where asked for, the change for one standard deviation of each latent (i, r, l).
    """

    volts: Floats
    conducting: Bools
    above: Bools
    ratios: Floats
    steadiness: Ints
    way: Ints
    read: Floats
    ohms: Floats
    swing: Floats
    moves: Floats


def room_for(
    items: int, nodes: int, hinges: int, rows: int, ratios: int, readings: int, latents: int, *, volts: bool = True
) -> Solved:
    """Return the arrays that the kernel fills, with or without the ``volts`` of every node."""
    return Solved(
        volts=np.zeros((items if volts else 0, nodes)),
        conducting=np.zeros((items, hinges), dtype=np.bool_),
        above=np.zeros((items, rows), dtype=np.bool_),
        ratios=np.zeros((items, ratios)),
        steadiness=np.zeros(items, dtype=np.int64),
        way=np.zeros(items, dtype=np.int64),
        read=np.zeros((items, readings)),
        ohms=np.zeros((items, readings)),
        swing=np.zeros((items, readings)),
        moves=np.zeros((items, readings, latents)),
    )


def pack_variants(network: Network, variants: Sequence[Variant], ground: int) -> Pack:
    """Lay variants end to end for the kernel; ``ground`` is the number of the node that stands for ground.

    Raises
    ------
    ValueError
        If a variant adds more nodes than there is room for.
    """
    ports = [v.ports for v in variants]
    sizes = np.array([len(p.gate) for p in ports], dtype=np.int64)
    severities = np.array([v.severities for v in variants], dtype=np.int64)
    if any(len(v.stubs) > STUBS for v in variants):
        message = f"patches add more than {STUBS} nodes"
        raise ValueError(message)
    sets, row_set = _row_sets(network, variants)
    rows = len(network.row_names)
    width = max([len(sets)], default=1)
    rise_at = np.zeros((width, rows, WIDTH), dtype=np.int64)
    fall_at = np.zeros((width, rows, WIDTH), dtype=np.int64)
    most = max([r.rising.shape[0] for r in sets], default=1)
    rising, falling = np.zeros((width, most, rows)), np.zeros((width, most, rows))
    for k, r in enumerate(sets):
        rise_at[k], fall_at[k] = grounded(r.rise_at, ground), grounded(r.fall_at, ground)
        rising[k], falling[k] = r.rising[-1], r.falling[-1]
        rising[k, : len(r.rising)], falling[k, : len(r.falling)] = r.rising, r.falling
    flat = network.rows
    return Pack(
        port_start=np.cumsum([0, *sizes], dtype=np.int64),
        wide_start=np.cumsum([0, *(sizes * severities)], dtype=np.int64),
        severities=severities,
        stubs=np.array([len(v.stubs) for v in variants], dtype=np.int64),
        sense_at=grounded(_wide_ints(p.sense_at for p in ports), ground),
        sense_weight=_wide_floats(p.sense_weight for p in ports),
        inject_at=grounded(_wide_ints(p.inject_at for p in ports), ground),
        inject_weight=_wide_floats(p.inject_weight.reshape(-1, WIDTH) for p in ports),
        conductance=_floats(p.conductance for p in ports),
        threshold=_floats(p.threshold for p in ports),
        gate=_ints(p.gate for p in ports),
        clamped=_bools(p.clamped for p in ports),
        after=_ints(p.after for p in ports),
        instead_of=_ints(p.instead_of for p in ports),
        port_of=_ints(v.port_of for v in variants),
        replaced_start=np.cumsum([0, *(len(v.replaced) for v in variants)], dtype=np.int64),
        replaced=_ints(v.replaced for v in variants),
        row_set=row_set,
        rise_at=rise_at, rise_weight=flat.rise_weight, rising=rising,
        fall_at=fall_at, fall_weight=flat.fall_weight, falling=falling,
        gate_force=np.array([v.gate_force for v in variants], dtype=np.int8).reshape(len(variants), -1),
        side_force=np.array([v.side_force for v in variants], dtype=np.int8).reshape(len(variants), -1),
        ratio_at=np.array([v.ratio_at for v in variants], dtype=np.int64).reshape(len(variants), -1),
        ratio_nodes=grounded(
            np.array([v.ratio_nodes for v in variants], dtype=np.int64).reshape(len(variants), -1, 2, WIDTH), ground
        ),
    )  # fmt: skip


def _row_sets(network: Network, variants: Sequence[Variant]) -> tuple[list[RowArrays], Ints]:
    """Return the different sets of rule rows of variants, and which one each has; most have the network's own."""
    sets: dict[tuple[bytes, ...], int] = {}
    kept: list[RowArrays] = [network.rows_in_place(1)]
    number = np.zeros(len(variants), dtype=np.int64)
    for k, variant in enumerate(variants):
        r = variant.rows
        if variant.network.rows is network.rows and r is variant.network.rows_in_place(variant.severities):
            continue
        key = (r.rise_at.tobytes(), r.fall_at.tobytes(), r.rising.tobytes(), r.falling.tobytes())
        if key not in sets:
            sets[key] = len(kept)
            kept.append(r)
        number[k] = sets[key]
    return kept, number


def latents_of(network: Network, keep: Sequence[tuple[str, str]]) -> Latents:
    """Return the entries of the named knobs (owner, name), in their order; rows of rules move no level."""
    latent, hinge, effect, coefficient, weight = [], [], [], [], []
    codes = {Effect.SCALE: 0, Effect.SHIFT: 1, Effect.GAIN: 2}
    for number, key in enumerate(keep):
        knob = network.knobs[key]
        for turned in knob.turned:
            if turned.effect is Effect.ROW:
                continue
            for k in network.hinges_of.get(knob.owner, ()):
                if network.roles[k] != turned.role:
                    continue
                at = network.hinges.inject_at[k].tolist()
                places = np.zeros(WIDTH)
                for terminal, value in turned.inject.items():
                    places[at.index(network.terminal_index[terminal])] = value
                latent.append(number)
                hinge.append(int(k))
                effect.append(codes[turned.effect])
                coefficient.append(turned.coefficient * knob.spread)
                weight.append(places)
    return Latents(
        np.array(latent, dtype=np.int64), np.array(hinge, dtype=np.int64), np.array(effect, dtype=np.int64),
        np.array(coefficient, dtype=np.float64), np.array(weight, dtype=np.float64).reshape(-1, WIDTH), len(keep),
    )  # fmt: skip


def no_probes(variants: int) -> Probes:
    """Return probes that take no reading."""
    none = np.zeros((variants, 0), dtype=np.int64)
    return Probes(none, none, np.zeros(0), np.zeros(0), np.zeros(0))


def no_latents() -> Latents:
    """Return latents of which there are none."""
    none = np.zeros(0, dtype=np.int64)
    return Latents(none, none, none, np.zeros(0), np.zeros((0, WIDTH)), 0)


def _ints(arrays: Iterable[Ints]) -> Ints:
    return np.concatenate([np.zeros(0, dtype=np.int64), *arrays])


def _bools(arrays: Iterable[Bools]) -> Bools:
    return np.concatenate([np.zeros(0, dtype=np.bool_), *arrays])


def _floats(arrays: Iterable[Floats]) -> Floats:
    return np.concatenate([np.zeros(0), *(array.ravel() for array in arrays)])


def _wide_ints(arrays: Iterable[Ints]) -> Ints:
    return np.concatenate([np.zeros((0, WIDTH), dtype=np.int64), *arrays])


def _wide_floats(arrays: Iterable[Floats]) -> Floats:
    return np.concatenate([np.zeros((0, WIDTH)), *arrays])


def grounded(at: Ints, ground: int) -> Ints:
    """Return nodes with the number ``ground`` in place of -1."""
    return np.where(at < 0, ground, at)
