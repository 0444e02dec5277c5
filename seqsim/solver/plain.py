"""Steady levels of one network, in plain NumPy: the reference that the compiled kernel must reproduce.

The analog part is a piecewise-linear system: Newton's method on the set of conducting hinges ends in finitely many
steps where it ends at all (Katzenelson, "An algorithm for solving nonlinear resistor networks", Bell System
Technical Journal 44 (1965) 1605-1620, from memory, is what source stepping follows when it does not).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from seqsim.network import Network, Patch, RowClass, Variant, vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.state import Levels, State, Steadiness, Way
from seqsim.solver.system import LEAK, System, flatten

NEWTON_STEPS = 60
ROUNDS = 300
"""Most rounds of rule updates before a board counts as oscillating."""
PATIENCE = 60
"""Rounds in which all rules are updated together; then one at a time."""
SHORTEST_ROUND = 1e-6
"""Seconds that a round of a cycle lasts where nothing is known to wait (our judgement)."""
NEARLY = 1e-9
"""Volts (or amperes of an inner node) within which a hinge may stay in the mode that it has."""
TIE = 1e-6
"""Volts by which a threshold must be passed: an unpowered input compares nothing with nothing."""
POWER_ROWS = frozenset({RowClass.UNDERVOLTAGE, RowClass.ENABLE, RowClass.POWER_GOOD})
RATIO_STEPS = 100
RATIO_TOLERANCE, ROUGHLY = 1e-9, 1e-3
"""Change at which input-current ratios have converged: where the rules are at rest, and on the way there."""


def solve(
    network: Network,
    patches: Iterable[Patch] = (),
    gates: Mapping[str, bool] | None = None,
    start: State | None = None,
    severity: int = 0,
) -> Levels:
    """Return the steady levels of a patched network.

    Parameters
    ----------
    network
        The network as built.
    patches
        What differs from it.
    gates
        Static gates that are on or off in this power state (`VBAT:applied`, `SW1:closed`).
    start
        State to start from; without one everything is off.
    severity
        Which of the patches' severities to take.
    """
    return solve_variant(vary(network, patches), static_gates(network, gates or {}), start, severity)


def static_gates(network: Network, gates: Mapping[str, bool]) -> Bools:
    """Return the gates (g,) of a power state; those that rules drive are false."""
    values = network.gate_default.copy()
    for name, on in gates.items():
        if name in network.gate_index:
            values[network.gate_index[name]] = on
    return values


def solve_variant(variant: Variant, static: Bools, start: State | None = None, severity: int = 0) -> Levels:
    """Return the steady levels of a variant; see `solve`."""
    system = flatten(variant, severity)
    return settle(system, static, start or all_off(system))


def all_off(system: System) -> State:
    """Return the state in which nothing conducts and every row is below."""
    network = system.variant.network
    return State(
        np.zeros(len(system.alive), dtype=np.bool_),
        np.zeros(len(network.row_names), dtype=np.bool_),
        np.zeros(len(network.ratios)),
    )


def all_on(system: System) -> State:
    """Return the state in which every row is above and regulators pass their whole output current on."""
    network = system.variant.network
    return State(
        system.after < 0,
        np.ones(len(network.row_names), dtype=np.bool_),
        np.ones(len(network.ratios)),
    )


def carried(state: State, system: System) -> State:
    """Return a state of the network, or of another variant of it, as a start for this system."""
    variant = system.variant
    base = len(variant.network.owners)
    conducting = np.zeros(len(system.alive), dtype=np.bool_)
    conducting[:base] = state.conducting[:base]
    ported = variant.port_of >= 0
    conducting[base:][ported] = state.conducting[variant.port_of[ported]]
    return State(conducting, state.above.copy(), state.ratios.copy())


def settle(system: System, static: Bools, start: State) -> Levels:
    """Alternate analog solutions and rule updates until nothing changes, or a cycle closes."""
    state = State(start.conducting.copy(), forced_sides(system, start.above), start.ratios.copy())
    seen: dict[bytes, int] = {}
    volts_seen: list[Floats] = []
    states_seen: list[State] = []
    one_by_one = False
    together = -1  # the last round that changed several rows
    way = Way.NEWTON
    order = list(Way)
    for step in range(ROUNDS):
        gates = gates_of(system, static, state.above)
        volts, state, step_way = settle_analog(system, gates, state, ROUGHLY)
        way = max(way, step_way, key=order.index)
        above = sides(system, volts, state.above)
        if len(state.ratios) and np.array_equal(above, state.above) and step_way is not Way.FAILED:
            volts, state, step_way = settle_analog(system, gates, state)
            way = max(way, step_way, key=order.index)
            above = sides(system, volts, state.above)
        if step_way is Way.FAILED:
            return Levels(system, volts, state, gates, Steadiness.FAILED, way)
        if np.array_equal(above, state.above):
            return refined(Levels(system, volts, state, gates, Steadiness.STEADY, way))
        key = state.above.tobytes() + state.conducting.tobytes()
        # a cycle in which one row changed at a time would be the same one by one
        if key in seen and (one_by_one or seen[key] > together):
            return _oscillating(system, static, state, volts_seen[seen[key] :], states_seen[seen[key] :], way)
        if key in seen or step == PATIENCE:
            one_by_one = True
            seen, volts_seen, states_seen = {}, [], []
        if np.count_nonzero(above != state.above) > 1:
            together = len(volts_seen)
        seen[key] = len(volts_seen)
        volts_seen.append(volts)
        states_seen.append(state)
        if one_by_one:
            above = _only_fastest(system, volts, state.above, above)
        state = State(state.conducting, above, state.ratios)
    return _oscillating(system, static, state, volts_seen, states_seen, way)


def refined(levels: Levels) -> Levels:
    """Correct the volts once by the currents that are left over, which gives floating nodes their digits back."""
    volts = levels.volts.copy()
    volts[:-1] -= levels.system.solve(levels.active(), residual(levels))
    return replace(levels, volts=volts)


def _only_fastest(system: System, volts: Floats, before: Bools, after: Bools) -> Bools:
    """Let one row of the fastest class change, the one that is farthest beyond its threshold, and no other."""
    rise, fall = _sensed(system, volts)
    beyond = np.where(before, system.falling - fall, rise - system.rising)
    kind = system.variant.rows.kind
    chosen = -1
    for row in np.flatnonzero(before != after):
        if chosen < 0 or kind[row] < kind[chosen] or (kind[row] == kind[chosen] and beyond[row] > beyond[chosen] + TIE):
            chosen = int(row)
    result = before.copy()
    result[chosen] = after[chosen]
    return result


def _sensed(system: System, volts: Floats) -> tuple[Floats, Floats]:
    """Return what rule rows (r,) compare with their rising and their falling thresholds."""
    rows = system.variant.rows
    rise = (rows.rise_weight * volts[rows.rise_at]).sum(axis=1)
    fall = (rows.fall_weight * volts[rows.fall_at]).sum(axis=1)
    return rise, fall


def _oscillating(
    system: System, static: Bools, state: State, volts: list[Floats], states: list[State], way: Way
) -> Levels:
    """Average the cycle, each round for as long as it lasts, and name the devices whose sides toggle in it."""
    above = [each.above for each in states]
    patterns = np.array(above)
    toggling = np.flatnonzero((patterns != patterns[0]).any(axis=0))
    owners = dict.fromkeys(system.variant.network.row_owners[k] for k in toggling)
    gates = gates_of(system, static, state.above)
    average = np.average(volts, axis=0, weights=_lengths(system, static, above))
    pulses = _pulses(system, toggling, states)
    swing = np.array([np.min(volts, axis=0), np.max(volts, axis=0)])
    return Levels(system, average, state, gates, Steadiness.OSCILLATES, way, tuple(owners), pulses, swing)


def _pulses(system: System, toggling: Ints, states: list[State]) -> bool:
    """Tell whether a cycle is a supply that starts and collapses: only such rows toggle, or a limit takes part."""
    variant = system.variant
    kinds = set(variant.rows.kind[toggling].tolist())
    limits = np.array([role.endswith("limit") for role in (*variant.network.roles, *variant.port_roles)])
    limited = any((each.conducting & limits).any() for each in states)
    return kinds <= POWER_ROWS or (limited and bool(kinds & {RowClass.UNDERVOLTAGE, RowClass.ENABLE}))


def _lengths(system: System, static: Bools, above: list[Bools]) -> Floats:
    """Return how long each round of a cycle lasts (s): as long as the gates wait that turn at its end."""
    gates = np.array([gates_of(system, static, sides) for sides in above])
    coming = np.roll(gates, -1, axis=0)
    paces = system.variant.network.paces
    waits = np.where(coming, paces[:, 0], paces[:, 1]) * (gates != coming)
    return np.asarray(SHORTEST_ROUND + waits.sum(axis=1))


def forced_sides(system: System, above: Bools) -> Bools:
    """Apply the sides that patches hold."""
    force = system.variant.side_force
    return np.where(force >= 0, force == 1, above)


def sides(system: System, volts: Floats, above: Bools) -> Bools:
    """Return on which side of its threshold each rule row stands, given where it stood (its memory)."""
    rise, fall = _sensed(system, volts)
    fresh = np.where(above, fall > system.falling - TIE, rise > system.rising + TIE)
    return forced_sides(system, fresh)


def gates_of(system: System, static: Bools, above: Bools) -> Bools:
    """Return which gates are on (g,): static ones as given, others by their rule's truth table."""
    network = system.variant.network
    gates = static.copy()
    for k, table in enumerate(network.tables):
        first, last = network.row_start[k], network.row_start[k + 1]
        pattern = int(above[first:last] @ (1 << np.arange(last - first)))
        bits = int(table[pattern])
        for i, gate in enumerate(network.rule_gates[k]):
            gates[gate] = bool(bits >> i & 1)
    force = system.variant.gate_force
    return np.where(force >= 0, force == 1, gates)


def enabled(system: System, gates: Bools) -> Bools:
    """Return which hinges (h,) may carry current: alive, and their gate on."""
    return np.asarray(system.alive & ((system.gate < 0) | gates[np.maximum(system.gate, 0)]))


def active_conductance(system: System, state: State, gates: Bools) -> Floats:
    """Return the conductance (h,) with which each hinge takes part in a solution."""
    part = enabled(system, gates) & (~system.clamped | state.conducting)
    conductance = np.where(part, system.conductance, 0.0)
    for k, hinge in enumerate(system.variant.ratio_at):
        conductance[hinge] *= state.ratios[k]
    return conductance


def settle_analog(
    system: System, gates: Bools, state: State, tolerance: float = RATIO_TOLERANCE
) -> tuple[Floats, State, Way]:
    """Return node volts and state with gates held, the input-current ratios converged."""
    ratios = state.ratios
    history: list[Floats] = [ratios]
    worst = Way.NEWTON
    order = list(Way)
    volts = np.zeros(system.nodes + 1)
    for step in range(RATIO_STEPS):
        volts, conducting, way = newton(system, gates, state)
        worst = max(worst, way, key=order.index)
        state = State(conducting, state.above, ratios)
        if way is Way.FAILED or not len(ratios):
            break
        wanted = wanted_ratios(system, volts)
        if np.max(np.abs(wanted - ratios)) < tolerance:
            break
        ratios = next_ratios(wanted, ratios, history, step)
        state = State(conducting, state.above, ratios)
    return volts, state, worst


def wanted_ratios(system: System, volts: Floats) -> Floats:
    """Return the share of its output current that each step-down regulator draws at its input."""
    variant = system.variant
    sensed = (variant.ratio_weights * volts[variant.ratio_nodes]).sum(axis=2)
    wanted = [
        min(max(out, 0.0) / (ratio.efficiency * max(into, ratio.floor)), 1.0)
        for (out, into), ratio in zip(sensed, variant.network.ratios, strict=True)
    ]
    return np.array(wanted)


def next_ratios(wanted: Floats, ratios: Floats, history: list[Floats], step: int) -> Floats:
    """Return the next iterate: Aitken's jump every third step where it is safe, half steps when it is slow."""
    history.append(wanted)
    if step > 30:
        return np.asarray((wanted + ratios) / 2)
    if step % 3 == 2 and len(history) >= 3:
        first = history[-2] - history[-3]
        second = history[-1] - history[-2]
        with np.errstate(divide="ignore", invalid="ignore"):
            factor = second / first
            jump = history[-1] + second * factor / (1 - factor)
        safe = (factor > 0.2) & (factor < 0.97)
        return np.clip(np.where(safe, jump, wanted), 0.0, 1.0)
    return wanted


def newton(system: System, gates: Bools, state: State) -> tuple[Floats, Bools, Way]:
    """Return node volts and conducting hinges for fixed gates and ratios."""
    allowed = enabled(system, gates)
    conducting = state.conducting & allowed & system.clamped
    seen: set[bytes] = set()
    volts = np.zeros(system.nodes + 1)
    try:
        for _ in range(NEWTON_STEPS):
            volts = linear(system, gates, State(conducting, state.above, state.ratios))
            wanted = modes(system, allowed, conducting, system.across(volts))
            if np.array_equal(wanted, conducting):
                return volts, conducting, Way.NEWTON
            key = wanted.tobytes()
            if key in seen:
                break
            seen.add(key)
            conducting = wanted
    except np.linalg.LinAlgError:  # a set of modes on the way that no voltages belong to
        pass
    from seqsim.solver.fallback import fall_back

    return fall_back(system, gates, allowed, state)


def linear(system: System, gates: Bools, state: State) -> Floats:
    """Return node volts (n + 1,) with the set of conducting hinges held."""
    active = active_conductance(system, state, gates)
    volts = np.zeros(system.nodes + 1)
    volts[:-1] = system.solve(active, system.right_side(active))
    return volts


def modes(system: System, allowed: Bools, conducting: Bools, across: Floats) -> Bools:
    """Return which hinges want to conduct, by the ladder: a limit after its path, never straight past it."""
    wanted = np.where(np.abs(across) < NEARLY, conducting, across > 0) & allowed & system.clamped
    ladder = np.flatnonzero(system.after >= 0)
    path = system.after[ladder]
    wanted[ladder] &= conducting[path] | ~system.clamped[path]
    leaving = conducting[ladder] & ~wanted[path] & system.clamped[path] & allowed[path]
    wanted[path[leaving]] = True
    wanted[ladder[leaving]] = False
    exclusive = np.flatnonzero(system.instead_of >= 0)
    wanted[exclusive] &= ~conducting[system.instead_of[exclusive]]
    return wanted


def thevenin_ohms(levels: Levels, first: str, second: str | None = None) -> float:
    """Return the small-signal resistance (ohms) seen between two places, or a place and ground."""
    system = levels.system
    vector = np.zeros(system.nodes + 1)
    vector[system.variant.node(first)] += 1
    if second is not None:
        vector[system.variant.node(second)] -= 1
    return float(vector[:-1] @ system.solve(levels.active(), vector[:-1]))


def currents(levels: Levels) -> Floats:
    """Return the current (h,) of every hinge, in the direction of its inject weights."""
    return levels.active() * levels.system.across(levels.volts)


def residual(levels: Levels) -> Floats:
    """Return the current (n,) that is left over at each node: Kirchhoff's law says zero."""
    system = levels.system
    return np.asarray(system.drawn(currents(levels))[:-1] + LEAK * levels.volts[:-1])
