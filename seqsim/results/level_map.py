"""The steady levels of a board in one power state, with their spread and what is odd about them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from seqsim.circuit import OFF, Circuit, compile_network, state_gates
from seqsim.circuit.names import suggest
from seqsim.errors import NoSteadyLevelError, UnknownPlaceError
from seqsim.faults import find_fault, middle
from seqsim.network import Effect, Patch, SetSide, Variant, vary
from seqsim.network.network import Bools, Floats
from seqsim.network.reach import reach, shifting
from seqsim.solver import FLOATING_OHMS, Levels, State, Steadiness, currents, flatten, solve_variant, static_gates
from seqsim.solver.arrays import STEADY
from seqsim.solver.hold import pulsing
from seqsim.solver.plain import all_off, all_on
from seqsim.solver.sensitivity import node_impedance, sensitivities
from seqsim.solver.system import MOST_DENSE
from seqsim.wording import PERCENTILE_95, SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType

DIFFERENT_VOLTS = 0.1
"""Two outcomes count as different when a node differs by more than this."""
CONTENDED_AMPS = 1e-3
CONTENDED_SIEMENS = 1e-3
CONTENDED_DROP = 0.1
"""Opposing drivers: each carries this much, is this stiff, and loses this many volts (the last is our judgement)."""
DRIVING_PINS = frozenset({"C", "E", "D", "S"})
MOST_BRANCHES = 16
"""Undecided thresholds that are tried the other way, the closest first."""
MOST_KICKS = 100
"""Thresholds of devices that are crossed to look for another stable state."""


@dataclass(frozen=True, slots=True)
class NodeLevel:
    """One node: nominal volts, 5th and 95th percentile, and its condition.

    ``condition`` is ``driven``, ``floating``, ``undefined`` or ``contended``. On a board that oscillates volts are an
    average, and the node swings between ``low`` and ``high``.
    """

    volts: float
    low: float
    high: float
    condition: str

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {"volts": self.volts, "low": self.low, "high": self.high, "condition": self.condition}


@dataclass(frozen=True, slots=True)
class LevelMap(Result):
    """The levels of a circuit in a state; ``condition`` is ``steady``, ``oscillates`` or ``several_states``."""

    circuit: str
    state: str
    faults: tuple[str, ...]
    condition: str
    nodes: Mapping[str, NodeLevel]
    other_states: tuple[Mapping[str, float], ...]
    loop: tuple[str, ...] = ()
    """devices that switch each other on and off, where the board oscillates"""
    pulsing: bool = False
    """whether that is a supply that starts and collapses"""
    may_pulse: tuple[bool, ...] = ()
    """for each of the other states, whether the board pulses in it"""

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``levels``."""
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "state": self.state,
            "faults": list(self.faults),
            "condition": self.condition,
            "loop": list(self.loop),
            "pulsing": self.pulsing,
            "nodes": {name: node.to_dict() for name, node in self.nodes.items()},
            "other_states": [
                {"pulsing": pulses, "nodes": {name: {"volts": volts} for name, volts in other.items()}}
                for other, pulses in zip(self.other_states, self.may_pulse, strict=True)
            ],
        }

    def renderable(self) -> RenderableType:
        """Return the levels for people."""
        from seqsim.wording.levels import levels_text

        return levels_text(self.to_dict())


def level_map(name: str, circuit: Circuit, state: str | None, faults: tuple[str, ...]) -> LevelMap:
    """Return the levels of a circuit, its power states gone through in their order up to ``state``.

    Where several states are stable, the one that a power-up over time comes to stands first.

    Raises
    ------
    UnknownPlaceError
        If there is no such state or fault.
    NoSteadyLevelError
        If no steady level is found.
    """
    states = list(circuit.power_states)
    wanted = states[-1] if state is None else state
    if wanted not in states:
        message = f"there is no power state called '{wanted}'{suggest(wanted, states)}"
        raise UnknownPlaceError(message, place=wanted, got=wanted)
    patches = tuple(_patches(circuit, faults))
    network = compile_network(circuit)
    variant = vary(network, patches)
    levels: Levels | None = None
    static = static_gates(network, state_gates(circuit, wanted))
    for passed in states[: states.index(wanted) + 1]:
        static = static_gates(network, state_gates(circuit, passed))
        levels = solve_variant(variant, static, None if levels is None else levels.state)
    if levels is None or levels.steadiness is Steadiness.FAILED:
        message = f"no steady level was found in state {wanted}; the values of a part may be extreme"
        raise NoSteadyLevelError(message, file=circuit.file, place=wanted)
    others = [*_others(levels, variant, static)]
    if levels.steadiness is Steadiness.STEADY:
        others += pulsing(network, patches, static, levels)
    levels, *others = _by_history(circuit, wanted, patches, [levels, *others])
    condition = levels.steadiness.value
    if levels.steadiness is Steadiness.STEADY and others:
        condition = "several_states"
    return LevelMap(
        name, wanted, faults, condition,
        _Conditions(circuit, patches, levels, static).nodes(),
        tuple(_volts(other) for other in others), levels.loop, levels.pulses,
        tuple(other.pulses for other in others),
    )  # fmt: skip


def _patches(circuit: Circuit, faults: tuple[str, ...]) -> Iterator[Patch]:
    for text in faults:
        fault, severity = find_fault(circuit, text)
        yield from fault.patches(middle(fault.severity) if severity is None else severity)


def _others(levels: Levels, variant: Variant, static: Bools) -> Iterator[Levels]:
    """Yield the other stable states that are reached from all off, from all on, and by one device's change of side."""
    if levels.steadiness is not Steadiness.STEADY:
        return
    found = [levels]
    system = flatten(variant)
    kicked = [_kicked(levels.state, row) for row in range(min(len(levels.state.above), MOST_KICKS))]
    starts = [all_off(system), all_on(system), *kicked]
    for start in starts if system.nodes <= MOST_DENSE else _elsewhere(levels, static, starts):
        other = solve_variant(variant, static, start)
        if other.steadiness is Steadiness.STEADY and all(_differ(other, known).any() for known in found):
            found.append(other)
            yield other


def _elsewhere(levels: Levels, static: Bools, starts: list[State]) -> Iterator[State]:
    """Yield the other stable states that starts lead to on a large board, by the kernel: each takes many rounds."""
    from seqsim.solver.batch import bench

    variant = levels.system.variant
    reference = levels
    if len(variant.replaced) or len(variant.port_of) or variant.stubs:
        reference = solve_variant(vary(variant.network), static)
    made = bench(variant.network, static, reference)
    solved = made.run([variant] * len(starts), starts)
    nets = variant.network.nets
    for k in range(len(starts)):
        moved = np.abs(solved.volts[k, :nets] - levels.volts[:nets]) > DIFFERENT_VOLTS
        if solved.steadiness[k] == STEADY and moved.any():
            yield made.state_of(solved, k, variant)


def _by_history(circuit: Circuit, state: str, patches: tuple[Patch, ...], found: list[Levels]) -> list[Levels]:
    """Put the stable state first that a power-up comes to, where several are possible."""
    if len(found) == 1 or state == OFF:
        return found
    from seqsim.sequence import reached

    arrived = reached(circuit, state, patches)
    if arrived.steadiness is Steadiness.OSCILLATES:
        return sorted(found, key=lambda each: each.steadiness is not Steadiness.OSCILLATES)
    if arrived.steadiness is not Steadiness.STEADY:
        return found
    return sorted(found, key=lambda each: bool(_differ(each, arrived).any()))


def _kicked(state: State, row: int) -> State:
    above = state.above.copy()
    above[row] = not above[row]
    return State(state.conducting, above, state.ratios)


def _differ(first: Levels, second: Levels) -> Bools:
    return np.asarray(np.abs(first.volts - second.volts) > DIFFERENT_VOLTS)


def _shown(levels: Levels) -> dict[str, int]:
    """Node of each net and each piece that a fault has cut off, under the name that people use."""
    variant = levels.system.variant
    network = variant.network
    nets = {name: k for k, name in enumerate(network.node_names[: network.nets])}
    pieces = {name.rpartition("/")[0]: len(network.node_names) + k for k, name in enumerate(variant.stubs)}
    return nets | pieces


def _volts(levels: Levels) -> dict[str, float]:
    return {name: float(levels.volts[node]) for name, node in _shown(levels).items()}


@dataclass(frozen=True)
class _Conditions:
    """What the levels of one solution are worth: their spread, and whether anything decides them."""

    circuit: Circuit
    patches: tuple[Patch, ...]
    levels: Levels
    static: Bools

    def nodes(self) -> dict[str, NodeLevel]:
        levels = self.levels
        impedance = node_impedance(levels)
        if levels.swing is not None:
            return self.swinging(impedance)
        knobs = tuple(levels.system.variant.network.knobs.values())
        moves = sensitivities(levels, impedance, knobs) * reach(self.patches, shifting(knobs), len(knobs))
        deviation = np.append(PERCENTILE_95 * np.sqrt((moves**2).sum(axis=1)), 0.0)
        low, high = self.within_supplies(levels.volts - deviation, levels.volts + deviation)
        undefined = np.zeros(len(levels.volts), dtype=np.bool_)
        floats = np.append(np.diag(impedance) > FLOATING_OHMS, False)
        for other in self.branches(moves, floats):
            undefined |= _differ(other, levels)
            low, high = np.minimum(low, other.volts), np.maximum(high, other.volts)
        contended = self.contended()
        return {
            name: NodeLevel(
                float(levels.volts[node]),
                float(low[node]),
                float(high[node]),
                "contended" if node in contended
                else "undefined" if undefined[node]
                else "floating" if floats[node]
                else "driven",
            )
            for name, node in _shown(levels).items()
        }  # fmt: skip

    def swinging(self, impedance: Floats) -> dict[str, NodeLevel]:
        """Return averages, and between which levels nodes swing in place of their spread."""
        levels = self.levels
        low, high = levels.swing if levels.swing is not None else (levels.volts, levels.volts)
        return {
            name: NodeLevel(
                float(levels.volts[node]), float(low[node]), float(high[node]),
                "floating" if impedance[node, node] > FLOATING_OHMS and high[node] - low[node] < DIFFERENT_VOLTS
                else "driven",
            )
            for name, node in _shown(levels).items()
        }  # fmt: skip

    def within_supplies(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Hold percentiles inside what the supplies can give: a wide spread is not linear to its end."""
        volts = [supply.volts * (1 + PERCENTILE_95 * supply.spread) for supply in self.circuit.supplies.values()]
        least = min([0.0, *volts, *self.levels.volts])
        most = max([0.0, *volts, *self.levels.volts])
        return np.clip(low, least, most), np.clip(high, least, most)

    def branches(self, moves: Floats, floats: Bools) -> Iterator[Levels]:
        """Yield the solutions with one undecided threshold on its other side."""
        levels = self.levels
        network = levels.system.variant.network
        for row in self.undecided(moves, floats):
            other_side = SetSide(network.row_owners[row], network.row_names[row], not levels.state.above[row])
            variant = vary(network, (*self.patches, other_side))
            other = solve_variant(variant, self.static, levels.state)
            if other.steadiness is not Steadiness.FAILED:
                yield other

    def undecided(self, moves: Floats, floats: Bools) -> list[int]:
        """Rows whose threshold lies within the spread of what they sense, or whose input nothing drives."""
        levels, system = self.levels, self.levels.system
        rows, network = system.variant.rows, system.variant.network
        above = levels.state.above
        at = np.where(above[:, None], rows.fall_at, rows.rise_at)
        weight = np.where(above[:, None], rows.fall_weight, rows.rise_weight)
        sensed = (weight * levels.volts[at]).sum(axis=1)
        margin = np.abs(sensed - np.where(above, system.falling, system.rising))
        padded = np.vstack([moves, np.zeros((1, moves.shape[1]))])
        spread = np.hypot(
            np.sqrt(((weight[:, :, None] * padded[at]).sum(axis=1) ** 2).sum(axis=1)), self.threshold_spread()
        )
        open_input = network.row_high_impedance & (floats[at] & (weight != 0)).any(axis=1)
        free = system.variant.side_force < 0
        ratio = np.where(open_input, 0.0, margin / np.maximum(PERCENTILE_95 * spread, 1e-9))
        order = np.argsort(ratio, kind="stable")
        return [int(row) for row in order if ratio[row] < 1 and free[row]][:MOST_BRANCHES]

    def threshold_spread(self) -> Floats:
        """Standard deviation (V) of the threshold of each row."""
        network = self.levels.system.variant.network
        squares = np.zeros(len(network.row_names))
        for knob in network.knobs.values():
            for turned in knob.turned:
                if turned.effect is Effect.ROW:
                    for row in network.rows_of.get(knob.owner, ()):
                        if network.row_names[row] == turned.role:
                            squares[row] += (turned.coefficient * knob.spread) ** 2
        return np.asarray(np.sqrt(squares))

    def contended(self) -> frozenset[int]:
        """Nodes that two drivers pull in opposite directions, one of them the output of a chip."""
        levels, system = self.levels, self.levels.system
        variant = system.variant
        network = variant.network
        owners = (*network.owners, *variant.port_owners)
        roles = (*network.roles, *variant.port_roles)
        amps, active = currents(levels), levels.active()
        pulls: dict[int, dict[str, float]] = {}
        outputs: set[tuple[int, str]] = set()
        for h in np.flatnonzero((np.abs(amps) > 0) & (active > CONTENDED_SIEMENS)):
            for node, weight in zip(system.inject_at[h], system.inject_weight[h], strict=True):
                if weight and node < system.nodes:
                    here = pulls.setdefault(int(node), {})
                    here[owners[h]] = here.get(owners[h], 0.0) + float(amps[h] * weight)
                    if roles[h].startswith("output") and abs(amps[h] / active[h]) > CONTENDED_DROP:
                        outputs.add((int(node), owners[h]))
        return frozenset(
            node
            for node, owner in outputs
            for other, drawn in pulls[node].items()
            if other != owner
            and ((node, other) in outputs or self.drives(other, node))
            and drawn * pulls[node][owner] < 0
            and min(abs(drawn), abs(pulls[node][owner])) > CONTENDED_AMPS
        )

    def drives(self, owner: str, node: int) -> bool:
        """Tell whether a part is a transistor that has its channel, collector or emitter at a node."""
        part = self.circuit.parts.get(owner)
        if part is None or part.passive or not {"G", "B"} & part.pins.keys():
            return False
        variant = self.levels.system.variant
        at = variant.network.terminal_index
        return any(variant.pin_node[at[part.pin(pin)]] == node for pin in DRIVING_PINS & part.pins.keys())
