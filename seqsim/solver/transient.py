"""Power-up over time: the clockwork of the rules between marches of the compiled time steps.

Importing this module imports numba.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from seqsim.network import FARADS, Disable, Network, Patch, Source, Storage, Turn, vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.clockwork import Clockwork
from seqsim.solver.companion import Body, Drive, Now, Store, Trace, Work, jump
from seqsim.solver.course import Course, Stage
from seqsim.solver.cruise import INSTANT, STOPPED, Log, cruise
from seqsim.solver.jit import announce
from seqsim.solver.march import CROSSED, FINEST, FULL, STUCK
from seqsim.solver.plain import settle_analog
from seqsim.solver.state import State, Way
from seqsim.solver.system import System, flatten

LEAST = 1e-3
"""Error (V) that a step may have, whatever the volts."""
PART = 5e-4
"""The same as a part of the volts."""
MOST_STEPS = 200_000
MOST_EVENTS = 40_000
MOST_RESCUES = 2_000
POINTS, EVENTS = 2048, 2048
"""Room for points and events in one cruise."""
KEPT = 96
"""Inverses that are kept."""
RAMP_STEPS = 24
RUN_STEPS = 60
"""Fewest steps in a ramp, and in the whole run."""


def simulate(
    network: Network, patches: Iterable[Patch], stages: Sequence[Stage], until: float, before: Bools | None = None
) -> Course:
    """Return what a board does from all off, through the stages, until a time.

    Parameters
    ----------
    network
        The network as built.
    patches
        What differs from it; numbers, not arrays of severities.
    stages
        Power states, in the order of their seconds; the first begins the run.
    until
        End of the run (s).
    before
        Static gates (g,) before the first stage; what is on there does not turn on with it.
    """
    announce("cruise")
    gates = network.gate_default if before is None else before
    return _Run(network, tuple(patches), tuple(stages), until, gates).course()


def _turned(patches: Sequence[Patch], network: Network) -> dict[tuple[str, str], float]:
    """Return where the patches leave each knob that they turn: the last word counts for factors of time."""
    found: dict[tuple[str, str], float] = {}
    for patch in patches:
        if isinstance(patch, Turn):
            neutral = network.knobs[patch.owner, patch.knob].neutral
            before = found.get((patch.owner, patch.knob), neutral)
            found[patch.owner, patch.knob] = before + float(np.ravel(patch.value)[0]) - neutral
    return found


@cache
def _labels(hinges: int) -> NDArray[np.uint64]:
    """Return a random number for each hinge: sets of modes are known by the exclusive or of theirs."""
    return np.random.default_rng(1).integers(1, 1 << 62, hinges, dtype=np.uint64)


def _body(system: System, turned: dict[tuple[str, str], float], kept: Sequence[Storage]) -> Body:
    variant = system.variant
    network, ground = variant.network, system.nodes
    at = network.terminal_index

    def nodes(terminals: list[str]) -> Ints:
        found = np.array([variant.pin_node[at[terminal]] for terminal in terminals], dtype=np.int64)
        return np.where(found < 0, ground, found)

    shared = np.zeros(len(system.alive), dtype=np.bool_)
    shared[variant.ratio_at] = True
    return Body(
        system.sense_at, system.sense_weight, system.inject_at, system.inject_weight, system.conductance,
        system.clamped, system.after, system.instead_of, _labels(len(system.alive)), shared,
        nodes([storage.plus for storage in kept]),
        nodes([storage.minus for storage in kept]),
        np.array([s.farads * max(turned.get((s.owner, FARADS), 1.0), 1e-6) for s in kept], dtype=np.float64),
        variant.ratio_at,
        np.where(variant.ratio_nodes < 0, ground, variant.ratio_nodes),
        variant.ratio_weights,
        np.array([ratio.efficiency for ratio in network.ratios], dtype=np.float64),
        np.array([ratio.floor for ratio in network.ratios], dtype=np.float64),
    )  # fmt: skip


class _Run:
    """One run: where the board stands, and the points so far."""

    def __init__(
        self, network: Network, patches: tuple[Patch, ...], stages: tuple[Stage, ...], until: float, before: Bools
    ) -> None:
        system = flatten(vary(network, patches))
        turned = _turned(patches, network)
        gone = frozenset(patch.owner for patch in patches if isinstance(patch, Disable) and patch.roles is None)
        self.network, self.patches = network, patches
        self.system, self.stages, self.until = system, stages, until
        self.storages = [storage for storage in network.storages if storage.owner not in gone]
        self.body = _body(system, turned, self.storages)
        self.clock = Clockwork(system, turned, until, before)
        self.rules = self.clock.following()
        hinges, caps, n = len(system.alive), len(self.body.farads), system.nodes
        ratios = len(network.ratios)
        self.now = Now(
            np.zeros(n + 1), np.zeros(hinges, dtype=np.bool_), np.zeros(caps), np.zeros(caps), np.zeros(ratios)
        )
        self.store = Store(
            np.zeros((KEPT, n, n)), np.full(KEPT, -1.0), np.zeros(KEPT, dtype=np.uint64),
            np.zeros(KEPT, dtype=np.int64), np.zeros(1, dtype=np.int64), np.zeros((n, 2 * n)),
        )  # fmt: skip
        self.work = Work(
            np.zeros(hinges, dtype=np.bool_), np.zeros(n + 1), np.zeros(n + 1), np.zeros(caps),
            np.zeros(caps), np.zeros(caps), np.zeros(n + 1), np.zeros(caps), np.zeros(caps), np.zeros(n + 1),
            np.zeros(hinges, dtype=np.bool_), np.zeros(ratios), np.zeros(ratios), np.zeros((ratios, ratios)),
        )  # fmt: skip
        self.trace = Trace(np.zeros(POINTS), np.zeros((POINTS, n + 1)))
        self.log = Log(
            np.zeros(EVENTS), np.zeros(EVENTS, dtype=np.int64), np.zeros(EVENTS, dtype=np.int64),
            np.zeros(EVENTS, dtype=np.bool_),
        )  # fmt: skip
        self.times: list[Floats] = []
        self.volts: list[Floats] = []
        self.time = 0.0
        self.h = FINEST
        self.steps = self.rescues = 0
        self.bound = ""
        self.ends: list[tuple[str, State, Bools]] = []
        self.gates_seen: Bools = np.zeros(0, dtype=np.bool_)
        self.allowed: Bools = np.zeros(0, dtype=np.bool_)

    def course(self) -> Course:
        clock = self.clock
        coming = list(self.stages)
        self.point()
        while self.time < self.until and not self.bound:
            began = False
            while coming and coming[0].seconds <= self.time:
                if self.ends or len(coming) < len(self.stages):
                    self.end_stage(len(self.stages) - len(coming) - 1)
                clock.begin(replace(coming.pop(0), seconds=self.time))
                began = True
            fired = clock.fire(self.time)
            clock.arrived(self.time)
            if began or fired:
                self.restart()
            upcoming = min([clock.next_time(self.time), self.until, *(stage.seconds for stage in coming[:1])])
            self.go_on(upcoming)
            if len(clock.events) > MOST_EVENTS:
                self.bound = f"{MOST_EVENTS} events"
            elif self.steps > MOST_STEPS:
                self.bound = f"{MOST_STEPS} time steps"
            elif self.rescues > MOST_RESCUES:
                self.bound = f"{MOST_RESCUES} moments at which only slow methods found levels"
        self.end_stage(len(self.stages) - len(coming) - 1)
        return Course(
            self.system.variant, np.concatenate(self.times), np.concatenate(self.volts), tuple(clock.events),
            tuple(self.ends), tuple(clock.chatter), self.bound, self.steps,
        )  # fmt: skip

    def end_stage(self, number: int) -> None:
        if 0 <= number == len(self.ends):
            self.ends.append((self.stages[number].name, self.state(), self.clock.gates.copy()))

    def state(self) -> State:
        """Return the state as the steady solver takes it."""
        return State(self.now.conducting.copy(), self.clock.above.copy(), self.now.shares.copy())

    def point(self) -> None:
        self.times.append(np.array([self.time]))
        self.volts.append(self.now.volts[None].copy())

    def drive(self) -> Drive:
        """Return what holds now."""
        clock, rows, system = self.clock, self.system.variant.rows, self.system
        if not np.array_equal(self.gates_seen, clock.gates):
            self.gates_seen = clock.gates.copy()
            self.allowed = np.asarray(
                system.alive & ((system.gate < 0) | clock.gates[np.maximum(system.gate, 0)]), dtype=np.bool_
            )
            self.now.conducting[~self.allowed] = False
        threshold, rate = clock.thresholds(self.time)
        limit, sign = clock.watched(self.time)
        above = clock.above[:, None]
        return Drive(
            self.time, self.allowed, threshold, rate,
            np.where(above, rows.fall_at, rows.rise_at), np.where(above, rows.fall_weight, rows.rise_weight),
            limit, sign,
        )  # fmt: skip

    def restart(self) -> None:
        """Bring the board over a moment at which a gate changed, and over all that follows at once from it."""
        while not self.bound:
            drive = self.drive()
            self.steps += 1
            if not jump(self.body, drive, self.now, self.time, INSTANT, self.store, self.work) and not self.rescue():
                self.bound = "a moment without any solution"
                return
            self.time += INSTANT
            self.point()
            self.h = INSTANT
            if not self.clock.settle(self.time, self.now.volts) or len(self.clock.events) > MOST_EVENTS:
                return

    def go_on(self, end: float) -> None:
        """Go on until ``end``, or until something happens that the clockwork has to follow."""
        longest = self.until / RUN_STEPS
        for rise in self.clock.rises.values():
            longest = min(longest, rise.seconds / RAMP_STEPS)
        drive, clock = self.drive(), self.clock
        sides = clock.sides()
        while self.time < end:
            status, self.time, self.h, points, tried, row, logged = cruise(
                self.body, drive, self.now, self.store, self.work, self.trace, self.rules, sides, self.log,
                self.time, end, self.h, longest, LEAST, PART, clock.haste,
            )  # fmt: skip
            self.steps += tried
            self.times.append(self.trace.times[:points].copy())
            self.volts.append(self.trace.volts[:points].copy())
            clock.take(self.log, logged)
            if status == STOPPED:
                self.restart()
                return
            if status == CROSSED:
                if clock.settle(self.time, self.now.volts, row):
                    self.restart()
                return
            if status == STUCK:
                if not self.rescue():
                    self.bound = "a moment without any solution"
                    return
                self.time += INSTANT
                self.point()
                self.h = INSTANT
                if clock.settle(self.time, self.now.volts):
                    self.restart()
                return
            if self.steps > MOST_STEPS or len(clock.events) > MOST_EVENTS or status != FULL:
                return

    def rescue(self) -> bool:
        """Take the short step with the fallbacks of the steady solver; tell whether they found a solution."""
        self.rescues += 1
        body, threshold = self.body, self.clock.thresholds(self.time + INSTANT)[0]
        companions = tuple(
            Source(storage.plus, storage.minus, float(volts), INSTANT / float(farads))
            for storage, volts, farads in zip(self.storages, self.now.charge, body.farads, strict=True)
        )
        companion = flatten(vary(self.network, (*self.patches, *companions)))
        added = len(companion.alive) - len(threshold)
        companion = replace(companion, threshold=np.concatenate([threshold, companion.threshold[len(threshold) :]]))
        start = self.state()
        conducting = np.concatenate([start.conducting, np.zeros(added, dtype=np.bool_)])
        volts, found, way = settle_analog(companion, self.clock.gates, replace(start, conducting=conducting))
        if way is Way.FAILED or not np.isfinite(volts).all():
            return False
        self.now.volts[:] = volts
        self.now.conducting[:] = found.conducting[: len(threshold)]
        fresh = volts[body.plus] - volts[body.minus]
        self.now.slope[:] = (fresh - self.now.charge) / INSTANT
        self.now.charge[:] = fresh
        self.now.shares[:] = found.ratios
        return True
