"""The truth table of a node, from the solver."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.logic.branches import capability
from seqsim.logic.candidates import LEAST_AMPS
from seqsim.logic.inputs import Input
from seqsim.logic.situation import Situation
from seqsim.network import Effect, SetSide, vary
from seqsim.network.network import Bools, Floats
from seqsim.solver import Levels, Steadiness, solve_variant
from seqsim.solver.plain import all_on

HIGH_SHARE = 0.7
LOW_SHARE = 0.3
"""A level above or below these shares of the highest in the table is high or low (common practice for CMOS inputs)."""
NOTHING = 0.1
"""A node that never exceeds this (V) is always low."""
SURE = 1.6449
"""Standard deviations by which an input has to be beyond its threshold to be decided: nineteen boards in twenty."""

MOST_REMEMBERED = 8
"""Inputs up to which each row is also reached from its neighbours, to see whether it remembers them."""
Pattern = tuple[bool, ...]

HIGH, LOW, FLOATING, UNDEFINED, REMEMBERS, OSCILLATES = (
    "high", "low", "floating", "undefined", "remembers", "oscillates",
)  # fmt: skip


@dataclass(frozen=True)
class TableRow:
    """One row: which inputs are on, the volts from a cold start, and what they mean.

    ``other_volts`` is what another start leads to, where that is the other level.
    """

    on: tuple[bool, ...]
    volts: float
    level: str
    other_volts: float | None = None


def table(situation: Situation, label: str, inputs: Sequence[Input]) -> tuple[TableRow, ...]:
    """Return the truth table of a net or cut-off piece; inputs that are not listed stay as the power state has them."""
    network = situation.network
    variant = vary(network, situation.patches)
    number = network.gate_index
    patterns = list(itertools.product((False, True), repeat=len(inputs)))
    statics: dict[Pattern, Bools] = {}
    cold: dict[Pattern, Situation] = {}
    for on in patterns:
        statics[on] = situation.static.copy()
        for each, is_on in zip(inputs, on, strict=True):
            for gate, value in each.gates(situation.circuit, on=is_on).items():
                statics[on][number[gate]] = value
        cold[on] = replace(situation, static=statics[on], levels=solve_variant(variant, statics[on]))
    others: dict[Pattern, list[Situation]] = {}
    for on in patterns:
        starts = [all_on(cold[on].levels.system)]
        if len(inputs) <= MOST_REMEMBERED:
            starts += [cold[_flipped(on, k)].levels.state for k in range(len(inputs))]
        solved = (solve_variant(variant, statics[on], start) for start in starts)
        steady = (levels for levels in solved if levels.steadiness is Steadiness.STEADY)
        others[on] = [replace(cold[on], levels=levels) for levels in steady]
    top = max(here.volts(label) for on in patterns for here in (cold[on], *others[on]))
    return tuple(_row(on, cold[on], others[on], label, top) for on in patterns)


def _flipped(on: Pattern, k: int) -> Pattern:
    return (*on[:k], not on[k], *on[k + 1 :])


def _row(on: Pattern, cold: Situation, others: Sequence[Situation], label: str, top: float) -> TableRow:
    volts = cold.volts(label)
    if cold.levels.steadiness is not Steadiness.STEADY:
        return TableRow(on, volts, OSCILLATES)
    level = _level(cold, label, top)
    for other in others:
        if {level, _level(other, label, top)} == {HIGH, LOW}:
            return TableRow(on, volts, REMEMBERS, other.volts(label))
    if level in (HIGH, LOW) and any(_level(each, label, top) != level for each in _undecided(cold)):
        return TableRow(on, volts, UNDEFINED)
    return TableRow(on, volts, level)


def _level(now: Situation, label: str, top: float) -> str:
    """Return what a level is: by its share of the highest, and between the shares by what reads it."""
    if now.floats(label):
        return FLOATING
    volts = now.volts(label)
    if top < NOTHING or volts < LOW_SHARE * top:
        return LOW
    if volts > HIGH_SHARE * top:
        return HIGH
    read = set(_readers(now, label))
    return read.pop() if len(read) == 1 else UNDEFINED


def _readers(now: Situation, label: str) -> Iterator[str]:
    """Yield what the transistors and chips whose inputs lie on a node make of its level."""
    for terminal in now.pins_at.get(now.node(label), ()):
        owner, _, pin = terminal.rpartition(".")
        part = now.circuit.parts.get(owner)
        if part is None:
            continue
        if pin in ("B", "G") and part.pins.keys() & {"C", "D"}:
            on = capability(now, owner) > LEAST_AMPS
            yield HIGH if on == (float(getattr(part, "sign", 1)) > 0) else LOW
        for row in now.network.rows_at[now.network.terminal_index[terminal]]:
            at = now.network.rows.rise_at[row]
            weight = float(now.network.rows.rise_weight[row][at == now.network.terminal_index[terminal]].sum())
            if pin not in ("VCC", "GND", "IN", "OUT") and weight:
                yield HIGH if bool(now.levels.state.above[row]) == (weight > 0) else LOW


def _undecided(now: Situation) -> Iterator[Situation]:
    """Yield the solutions with one undecided input on its other side: one that nothing drives, or at its threshold."""
    levels, network = now.levels, now.network
    system = levels.system
    rows, above = system.variant.rows, levels.state.above
    floats = np.append(now.ohms > 10e6, False)
    at = np.where(above[:, None], rows.fall_at, rows.rise_at)
    weight = np.where(above[:, None], rows.fall_weight, rows.rise_weight)
    sensed = (weight * levels.volts[at]).sum(axis=1)
    margin = np.abs(sensed - np.where(above, system.falling, system.rising))
    loose: Bools = network.row_high_impedance & (floats[at] & (weight != 0)).any(axis=1)
    loose |= margin < SURE * _spread(levels)
    loose &= system.variant.side_force < 0
    for row in np.flatnonzero(loose):
        owner, name = network.row_owners[row], network.row_names[row]
        if not _powered(now, owner):
            continue
        then = now.again(SetSide(owner, name, not above[row]))
        if then is not None:
            yield then


def _powered(now: Situation, owner: str) -> bool:
    network = now.network
    return all(
        bool(now.levels.state.above[row]) for row in network.rows_of[owner] if network.row_names[row] == "supply"
    )


def _spread(levels: Levels) -> Floats:
    """Standard deviation (V) of the threshold of each row."""
    network = levels.system.variant.network
    squares = np.zeros(len(network.row_names))
    for knob in network.knobs.values():
        for turned in knob.turned:
            if turned.effect is Effect.ROW:
                for row in network.rows_of.get(knob.owner, ()):
                    if network.row_names[row] == turned.role:
                        squares[row] += (turned.coefficient * knob.spread) ** 2
    return np.asarray(np.sqrt(squares))
