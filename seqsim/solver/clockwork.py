"""Rules in time: sides of rows, gates that follow late, knobs that rise, thresholds that chatter."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from seqsim.network import SECONDS, Effect
from seqsim.network.network import Bools, Floats
from seqsim.solver.course import Event, Stage, What
from seqsim.solver.cruise import PATIENCE, ROW, Following, Log, Sides
from seqsim.solver.system import System

DEAD_BAND = 1e-3
"""Volts between the two thresholds of a row that has none: it must not chatter at its own crossing."""
SLOWEST_CHATTER = 1 / 2000
"""A row that changes its side within this share of the run is in a hurry."""
HASTE = 20e-6
"""The same in seconds, at least."""
FIRST_REST = 2e-6
"""First rest (s) of a row whose hurried changes used up the patience that `cruise` names."""


@dataclass(frozen=True, slots=True)
class Rise:
    """A knob on its way up: hinges whose thresholds it moves, by how much from its start to its end, since when."""

    hinges: tuple[int, ...]
    shifts: tuple[float, ...]
    start: float
    seconds: float

    def done(self, time: float) -> float:
        """Return the share of the way at a time."""
        return min(max((time - self.start) / self.seconds, 0.0), 1.0)


@dataclass(frozen=True)
class Timing:
    """What the rules of a variant say about time, the same in every run."""

    system: System
    turned: Mapping[tuple[str, str], float]
    """where patches put a knob (owner, name), where it is not at its neutral"""
    late: tuple[tuple[float, float], ...] = field(init=False)
    """seconds by which each gate turns on and off late"""
    falling: Floats = field(init=False)
    following: Following = field(init=False)

    def __post_init__(self) -> None:
        network = self.system.variant.network
        late = [(0.0, 0.0)] * len(network.gates)
        for rule, gates in zip(network.rules, network.rule_gates, strict=True):
            for gate in gates.tolist() if rule.delays else ():
                on, off = rule.delays.get(network.gates[gate], (0.0, 0.0))
                late[gate] = on * self.scale(rule.owner), off * self.scale(rule.owner)
        object.__setattr__(self, "late", tuple(late))
        object.__setattr__(self, "falling", np.minimum(self.system.falling, self.system.rising - DEAD_BAND))
        object.__setattr__(self, "following", self._following())

    def scale(self, owner: str) -> float:
        """Return the factor on all seconds of an owner."""
        return self.turned.get((owner, SECONDS), 1.0)

    def _following(self) -> Following:
        """Return the rules as compiled code follows them: those without delay, ramp or pause at once."""
        system, variant = self.system, self.system.variant
        network, rows = variant.network, variant.rows
        plain = [
            not rule.ramps and not rule.pauses and all(self.late[gate] == (0.0, 0.0) for gate in gates.tolist())
            for rule, gates in zip(network.rules, network.rule_gates, strict=True)
        ]
        none = np.zeros(0, dtype=np.int64)
        return Following(
            system.gate, system.alive, rows.rule, network.row_start,
            np.cumsum([0, *(len(table) for table in network.tables)], dtype=np.int64),
            np.concatenate([*network.tables, none]),
            np.cumsum([0, *(len(gates) for gates in network.rule_gates)], dtype=np.int64),
            np.concatenate([*network.rule_gates, none]),
            np.array(plain, dtype=np.bool_), variant.gate_force.astype(np.int64), variant.side_force.astype(np.int64),
            rows.rise_at, rows.rise_weight, system.rising, rows.fall_at, rows.fall_weight, self.falling,
        )  # fmt: skip


class Clockwork:
    """The state of the rules during a run until ``until`` (s), with the gates ``before`` it begins."""

    def __init__(self, timing: Timing, until: float, before: Bools) -> None:
        system = timing.system
        network, force = system.variant.network, system.variant.side_force
        rows = len(network.row_names)
        self.timing, self.system, self.until = timing, system, until
        self.above: Bools = force == 1
        self.gates = self._forced(before)
        self.events: list[Event] = []
        self.rises: dict[int, Rise] = {}
        self.chatter: dict[str, None] = {}
        self.haste = max(HASTE, until * SLOWEST_CHATTER)
        self._timers: list[tuple[float, int, int, bool]] = []
        self._due: dict[int, float] = {}
        never = np.full((3, rows), -np.inf)
        self._fell, self._changed, self._rest = never[0], never[1], never[2]
        self._hurried = np.zeros(rows, dtype=np.int64)
        self._resting = False
        self._still = (system.threshold, np.zeros_like(system.threshold))
        self._fresh = np.zeros(rows, dtype=np.bool_)

    def _forced(self, gates: Bools) -> Bools:
        force = self.system.variant.gate_force
        return np.where(force >= 0, force == 1, gates)

    def begin(self, stage: Stage, time: float) -> None:
        """Go to a power state: static gates change at once."""
        network = self.system.variant.network
        before = self.gates.copy()
        driven = network.gate_rule >= 0
        self.gates = self._forced(np.where(driven, self.gates, stage.static))
        self.events.append(Event(time, What.STAGE, stage.name))
        for k in np.flatnonzero(before != self.gates):
            self._note(time, int(k))
            ramp = stage.ramps.get(network.gates[k])
            self.rises.pop(int(k), None)
            if self.gates[k] and ramp is not None:
                self._rise(int(k), ramp[0], ramp[1], ramp[2], time)

    def _note(self, time: float, gate: int) -> None:
        self.events.append(Event(time, What.GATE, self.system.variant.network.gates[gate], bool(self.gates[gate])))

    def _rise(self, gate: int, owner: str, knob: str, seconds: float, time: float) -> None:
        variant = self.system.variant
        network = variant.network
        found = network.knobs.get((owner, knob))
        if found is None or seconds <= 0:
            return
        stands = self.timing.turned.get((owner, knob), found.neutral)
        hinges, shifts = [], []
        ports = {int(h): len(network.owners) + i for i, h in enumerate(variant.port_of) if h >= 0}
        for turned in found.turned:
            if turned.effect is not Effect.SHIFT:
                continue
            for h in network.hinges_of[owner]:
                if network.roles[h] == turned.role:
                    hinges.append(ports.get(int(h), int(h)))
                    shifts.append(turned.coefficient * stands)
        self.rises[gate] = Rise(tuple(hinges), tuple(shifts), time, seconds)

    def sides(self) -> Sides:
        """Return where rows and gates stand, for compiled code to change in place."""
        return Sides(self.above, self.gates, self._changed, self._hurried, self._fell, self._rest, self._fresh)

    def take(self, log: Log, count: int) -> None:
        """Take over the events of a cruise."""
        network = self.system.variant.network
        for time, what, index, on in zip(
            log.seconds[:count].tolist(), log.what[:count].tolist(), log.which[:count].tolist(),
            log.on[:count].tolist(), strict=True,
        ):  # fmt: skip
            name = f"{network.row_owners[index]}/{network.row_names[index]}" if what == ROW else network.gates[index]
            self.events.append(Event(time, What.ROW if what == ROW else What.GATE, name, on))

    def settle(self, time: float, volts: Floats, crossed: int = -1) -> bool:
        """Let rows and gates follow the volts of this moment; tell whether a gate changed."""
        fresh = self.beyond(time, volts)
        if crossed >= 0:
            fresh[crossed] = not self.above[crossed]
        network = self.system.variant.network
        changed = np.flatnonzero(fresh != self.above)
        for row in changed:
            self.above[row] = fresh[row]
            self._hurry(int(row), time)
            if not fresh[row]:
                self._fell[row] = time
            name = f"{network.row_owners[row]}/{network.row_names[row]}"
            self.events.append(Event(time, What.ROW, name, bool(fresh[row])))
        return self.follow(time, dict.fromkeys(int(network.rows.rule[row]) for row in changed))

    def beyond(self, time: float, volts: Floats) -> Bools:
        """Return the side of each row that the volts ask for; rows at rest keep theirs."""
        rows = self.system.variant.rows
        force = self.system.variant.side_force
        rise = (rows.rise_weight * volts[rows.rise_at]).sum(axis=1)
        fall = (rows.fall_weight * volts[rows.fall_at]).sum(axis=1)
        fresh = np.where(self.above, fall >= self.timing.falling, rise > self.system.rising)
        fresh = np.where(self._rest > time, self.above, fresh)
        return np.asarray(np.where(force >= 0, force == 1, fresh))

    def _hurry(self, row: int, time: float) -> None:
        """Count changes that follow each other closely, and let the row rest once there were too many."""
        if time - self._changed[row] < self.haste:
            self._hurried[row] += 1
        self._changed[row] = time
        times = int(self._hurried[row]) // PATIENCE
        if times:
            self.chatter[self.system.variant.network.row_owners[row]] = None
            self._resting = True
            self._rest[row] = time + FIRST_REST * 2.0 ** min(times - 1, 40)

    def follow(self, time: float, rules: Iterable[int]) -> bool:
        """Bring the gates to what these rules say, at once or by timers; tell whether one changed."""
        network, force = self.system.variant.network, self.system.variant.gate_force
        changed = False
        for k in rules:
            first, last = network.row_start[k], network.row_start[k + 1]
            bits = int(network.tables[k][int(self.above[first:last] @ (1 << np.arange(last - first)))])
            for i, gate in enumerate(network.rule_gates[k]):
                if force[gate] >= 0:
                    continue
                wanted = bool(bits >> i & 1)
                if wanted == self.gates[gate]:
                    self._due.pop(int(gate), None)
                elif int(gate) not in self._due:
                    due = self._start(int(gate), wanted, time)
                    if due <= time:
                        self._switch(int(gate), wanted, time)
                        changed = True
                    else:
                        self._due[int(gate)] = due
                        heapq.heappush(self._timers, (due, len(self.events), int(gate), wanted))
        return changed

    def _start(self, gate: int, on: bool, time: float) -> float:  # noqa: FBT001
        """Return when a gate follows its rule."""
        if not on:
            return time + self.timing.late[gate][1]
        network = self.system.variant.network
        rule = network.rules[int(network.gate_rule[gate])]
        pause = rule.pauses.get(network.gates[gate])
        begins = time
        if pause is not None:
            for row in network.rows_of[rule.owner]:
                if network.row_names[row] == pause[0]:
                    begins = max(begins, float(self._fell[row]) + pause[1] * self.timing.scale(rule.owner))
        return begins + self.timing.late[gate][0]

    def _switch(self, gate: int, on: bool, time: float) -> None:  # noqa: FBT001
        network = self.system.variant.network
        self.gates[gate] = on
        self._due.pop(gate, None)
        self._note(time, gate)
        self.rises.pop(gate, None)
        rule = network.rules[int(network.gate_rule[gate])]
        ramp = rule.ramps.get(network.gates[gate])
        if on and ramp is not None:
            self._rise(gate, rule.owner, ramp[0], ramp[1] * self.timing.scale(rule.owner), time)

    def fire(self, time: float) -> bool:
        """Turn the gates whose time has come; tell whether there was one."""
        fired = False
        while self._timers and self._timers[0][0] <= time:
            due, _, gate, on = heapq.heappop(self._timers)
            if self._due.get(gate) == due:
                self._switch(gate, on, time)
                fired = True
        return fired

    def next_time(self, time: float) -> float:
        """Return when the next timer runs out, knob arrives or row has rested; infinity if nothing is under way."""
        while self._timers and self._due.get(self._timers[0][2]) != self._timers[0][0]:
            heapq.heappop(self._timers)
        ahead = [self._timers[0][0]] if self._timers else []
        ahead += [rise.start + rise.seconds for rise in self.rises.values()]
        if self._resting:
            ahead += [float(rest) for rest in self._rest if rest > time]
        return min((at for at in ahead if at > time), default=np.inf)

    def arrived(self, time: float) -> None:
        """Forget knobs that have come to where they stand."""
        for gate in [gate for gate, rise in self.rises.items() if time >= rise.start + rise.seconds]:
            del self.rises[gate]

    def thresholds(self, time: float) -> tuple[Floats, Floats]:
        """Return threshold (h,) at a time and how fast it moves (V/s), for every hinge."""
        if not self.rises:
            return self._still
        threshold, rate = self.system.threshold.copy(), np.zeros_like(self.system.threshold)
        for rise in self.rises.values():
            for h, shift in zip(rise.hinges, rise.shifts, strict=True):
                threshold[h] -= shift * (1 - rise.done(time))
                rate[h] += shift / rise.seconds
        return threshold, rate
