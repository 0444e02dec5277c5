"""The power states of a circuit as stages in time."""

from __future__ import annotations

from dataclasses import dataclass

from seqsim.circuit import Circuit, state_gates
from seqsim.circuit.model import OFF, Off
from seqsim.errors import QuantityError
from seqsim.network import Network
from seqsim.network.network import Bools
from seqsim.quantity import Unit, format_quantity, parse_quantity
from seqsim.readings.over_time import LONGEST
from seqsim.solver import static_gates
from seqsim.solver.course import Stage

GAP = 0.1
"""Seconds between power states where the file gives no `after` (our judgement)."""
RAMP = 1e-3
"""Seconds in which a supply rises where the file gives no `ramp` (common practice: bench supplies take 1 to 10 ms)."""
SETTLING = 0.2
"""Seconds after the last power state, at least; longer where the parts' own delays add up to more."""
FALLING = 0.5
"""Seconds for which the board is watched after power was taken away, where no rule asks for longer."""
MARGIN = 1.5
"""How far beyond the delays of parts, and the limits of rules, a run looks."""


def seconds_of(until: str | float | None) -> float | None:
    """Return the end of a run in seconds.

    Raises
    ------
    QuantityError
        If it is no time, or none that a run could take.
    """
    if until is None:
        return None
    seconds = parse_quantity(until, Unit.SECOND) if isinstance(until, str) else float(until)
    if not 0 < seconds <= LONGEST:
        longest = format_quantity(LONGEST, Unit.SECOND, 4)
        message = f"a power-up until {until} cannot be run; write a time above zero and up to {longest}, like 200ms"
        raise QuantityError(message, expected=Unit.SECOND.value, got=str(until))
    return seconds


@dataclass(frozen=True, slots=True)
class Timetable:
    """Stages with the static gates before them; ``until`` ends the power-up, ``end`` the run.

    ``off`` is when everything is taken away, None if nobody watches that; ``skipped`` lists power states that lie
    beyond ``until``.
    """

    stages: tuple[Stage, ...]
    before: Bools
    until: float
    end: float
    off: float | None
    skipped: tuple[str, ...] = ()


def timetable(circuit: Circuit, network: Network, until: float | None = None, *, down: bool = False) -> Timetable:
    """Return the stages of a power-up.

    Parameters
    ----------
    circuit
        The circuit, whose power states are gone through in their order.
    network
        Its network.
    until
        End of the power-up (s); by default some time after the last state.
    down
        Go back through the states to `off` afterwards. Otherwise everything is taken away at once, and only if a
        rule asks for it.
    """
    names = [name for name in circuit.power_states if name != OFF]
    starts, time = [], 0.0
    for k, name in enumerate(names):
        after = circuit.power_states[name].after
        time += after if after is not None else GAP if k else 0.0
        starts.append(time)
    last = time + max(SETTLING, MARGIN * _delays(network))
    end = last if until is None else until
    stages = [
        _stage(circuit, network, name, at, names[k - 1] if k else OFF) for k, (name, at) in _kept(names, starts, end)
    ]
    skipped = tuple(name for name, at in zip(names, starts, strict=True) if at >= end)
    before = static_gates(network, state_gates(circuit, OFF))
    limits = [rule.within for rule in circuit.rules if isinstance(rule, Off)]
    if not down and not limits:
        return Timetable(tuple(stages), before, end, end, None, skipped)
    falling, off = [], end
    if down:
        walked = [name for name in names if name not in skipped]
        for name, lower in zip(reversed(walked), (*reversed(walked[:-1]), OFF), strict=True):
            falling.append(_stage(circuit, network, lower, off, name))
            gap = circuit.power_states[name].after
            off += 0.0 if lower == OFF else gap if gap is not None else GAP
    else:
        falling.append(_stage(circuit, network, OFF, end, OFF))
    last = falling[-1].seconds if falling else end
    watched = max([FALLING, *(MARGIN * limit for limit in limits)])
    return Timetable((*stages, *falling), before, end, last + watched, last, skipped)


def _kept(names: list[str], starts: list[float], end: float) -> list[tuple[int, tuple[str, float]]]:
    return [(k, (name, at)) for k, (name, at) in enumerate(zip(names, starts, strict=True)) if at < end]


def _stage(circuit: Circuit, network: Network, name: str, at: float, before: str) -> Stage:
    state, earlier = circuit.power_states[name], circuit.power_states[before]
    seconds = RAMP if state.ramp is None else state.ramp
    ramps = {
        circuit.supplies[supply].applied: (supply, "volts", seconds)
        for supply in state.on
        if supply not in earlier.on and seconds > 0
    }
    return Stage(name, at, static_gates(network, state_gates(circuit, name)), ramps)


def _delays(network: Network) -> float:
    """Return the sum of the longest delay of each rule (s): as if all waited for each other."""
    total = 0.0
    for rule in network.rules:
        late = [max(pair) for pair in rule.delays.values()]
        rising = [seconds for _, seconds in rule.ramps.values()]
        pauses = [seconds for _, seconds in rule.pauses.values()]
        total += max(late, default=0.0) + max(rising, default=0.0) + max(pauses, default=0.0)
    return total
