"""Pulsing that no start finds: a supply that cannot hold its load at the threshold of an undervoltage lock.

What a lock senses is held in the middle between its thresholds, once with the lock below and once above. If the board
pushes the held node up while the lock is below, and pulls it down while it is above, then neither side can last: the
node swings about the lock, and both sides share the time such that their currents cancel.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from seqsim.network import GROUND, Network, Patch, RowClass, SetSide, Source, vary
from seqsim.network.network import Bools
from seqsim.solver.plain import solve_variant
from seqsim.solver.state import Levels, State, Steadiness

HELD_OHMS = 1e-4
"""Resistance (Ω) behind which the node is held."""
LEAST_AMPS = 1e-6
"""Current (A) that the board must push and pull at least: less is leakage."""
HOLDER = "/holder"


def pulsing(network: Network, patches: Sequence[Patch], static: Bools, levels: Levels) -> Iterator[Levels]:
    """Yield the average of each pulsing of a board that also settles at ``levels``.

    ``patches`` are those of the board, ``static`` (g,) its gates in the power state. An average has the steadiness of a
    board that oscillates; its ``loop`` names the chip whose lock it is.
    """
    rows = network.rows
    for row in _locks(network):
        used = rows.rise_weight[row] != 0
        ends = {float(w): int(t) for w, t in zip(rows.rise_weight[row][used], rows.rise_at[row][used], strict=True)}
        terminals = [network.terminals[ends[w]] if w in ends else "" for w in (1.0, -1.0)]
        if used.sum() != len(ends) or set(ends) - {1.0, -1.0} or not terminals[0]:
            continue
        found = _held(network, patches, static, levels, row, terminals[0], terminals[1] or GROUND)
        if found is not None:
            yield found


def _locks(network: Network) -> list[int]:
    """Return the row that locks each power stage: of several the last, whose threshold is the one that counts."""
    found: dict[str, int] = {}
    for row in np.flatnonzero(network.rows.kind == RowClass.UNDERVOLTAGE).tolist():
        owner = network.row_owners[row]
        inner = any(network.terminals[t].startswith(f"{owner}:") for t in network.rows.rise_at[row] if t >= 0)
        if f"{owner}:on" in network.gate_index and not inner:
            found[owner] = row
    return list(found.values())


def _held(
    network: Network, patches: Sequence[Patch], static: Bools, levels: Levels, row: int, plus: str, minus: str
) -> Levels | None:
    """Return the average of the pulsing about one row, if there is any."""
    system = levels.system
    if system.variant.side_force[row] >= 0:
        return None
    owner, name = network.row_owners[row], network.row_names[row]
    middle = float(system.rising[row] + system.falling[row]) / 2
    amps, sides = [], []
    for above in (False, True):
        holder = (*patches, Source(plus, minus, middle, HELD_OHMS, owner=HOLDER), SetSide(owner, name, above))
        held = solve_variant(vary(network, holder), static, _widened(levels.state))
        if held.steadiness is not Steadiness.STEADY:
            return None
        sides.append(held)
        amps.append((middle - held.at(plus) + held.at(minus)) / HELD_OHMS)
        if above is (amps[-1] < LEAST_AMPS) or abs(amps[-1]) < LEAST_AMPS:
            return None
    off, on = sides
    duty = amps[0] / (amps[0] - amps[1])
    volts = duty * on.volts + (1 - duty) * off.volts
    swing = np.array([np.minimum(on.volts, off.volts), np.maximum(on.volts, off.volts)])
    swing[:, system.variant.node(plus)] += np.array([system.falling[row], system.rising[row]]) - middle
    state = State(on.state.conducting[: len(system.alive)], on.state.above, on.state.ratios)
    return Levels(system, volts, state, on.gates, Steadiness.OSCILLATES, on.way, (owner,), pulses=True, swing=swing)


def _widened(state: State) -> State:
    """Return a state with room for the hinge of the holder."""
    return State(np.append(state.conducting, False), state.above, state.ratios)
