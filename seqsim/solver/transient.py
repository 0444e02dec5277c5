"""Power-up over time: the clockwork of the rules between marches of the compiled time steps.

Importing this module imports numba.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from seqsim.network import FARADS, WIDTH, Disable, Network, Patch, Source, Storage, Turn, vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.solver.clockwork import Clockwork, Timing
from seqsim.solver.companion import Body, Drive, Now, Store, Trace, Work
from seqsim.solver.course import Course, Stage
from seqsim.solver.cruise import INSTANT, STOPPED, Log, cruise
from seqsim.solver.jit import announce
from seqsim.solver.march import CROSSED, FINEST, STUCK
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
RAMP_STEPS = 16
"""Fewest steps in a ramp."""
RUN_POINTS = 100
"""Points of a course lie at most this part of the run apart."""


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
    return run(lay_out(network, patches), stages, until, before)


def run(layout: Layout, stages: Sequence[Stage], until: float, before: Bools | None = None) -> Course:
    """Return what a board that is laid out does; see `simulate`."""
    announce("cruise")
    gates = layout.network.gate_default if before is None else before
    return _Run(layout, tuple(stages), until, gates).course()


@dataclass(frozen=True)
class Layout:
    """A board with its patches as the time steps take it, the same in every run."""

    network: Network
    patches: tuple[Patch, ...]
    storages: tuple[Storage, ...]
    body: Body
    timing: Timing


def lay_out(network: Network, patches: Iterable[Patch] = ()) -> Layout:
    """Return a network with patches, laid out for runs over time."""
    patches = tuple(patches)
    system = flatten(vary(network, patches))
    turned = _turned(patches, network)
    gone = frozenset(patch.owner for patch in patches if isinstance(patch, Disable) and patch.roles is None)
    storages = tuple(storage for storage in network.storages if storage.owner not in gone)
    return Layout(network, patches, storages, _body(system, turned, storages), Timing(system, turned))


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


def _used(weights: Floats) -> Ints:
    """Return up to where the places (h, WIDTH) of each hinge are in use."""
    return np.asarray((np.arange(1, WIDTH + 1) * (weights != 0)).max(axis=1), dtype=np.int64)


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
        _used(system.sense_weight), _used(system.inject_weight),
        np.flatnonzero(system.after >= 0), np.flatnonzero(system.instead_of >= 0),
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

    def __init__(self, layout: Layout, stages: tuple[Stage, ...], until: float, before: Bools) -> None:
        self.layout, self.body, self.rules = layout, layout.body, layout.timing.following
        self.system, self.stages, self.until = layout.timing.system, stages, until
        self.clock = Clockwork(layout.timing, until, before)
        rows = len(self.clock.above)
        hinges, caps, n = len(self.system.alive), len(self.body.farads), self.system.nodes
        ratios = len(layout.network.ratios)
        hinge, node, cap = np.zeros((3, hinges), dtype=np.bool_), np.zeros((5, n + 1)), np.zeros((7, caps))
        share = np.zeros((3, ratios))
        self.now = Now(node[0], hinge[0], cap[0], cap[1], share[0])
        self.store = Store(
            np.empty((KEPT, n, n)), np.full(KEPT, -1.0), np.zeros(KEPT, dtype=np.uint64),
            np.zeros(KEPT, dtype=np.int64), np.zeros(2, dtype=np.int64), np.empty((n, n)),
            np.empty(n, dtype=np.int64),
        )  # fmt: skip
        self.work = Work(
            hinge[1], node[1], node[2], cap[2], cap[3], cap[4], node[3], cap[5], cap[6], node[4],
            hinge[2], share[1], share[2], np.zeros((ratios, ratios)),
        )  # fmt: skip
        self.trace = Trace(np.empty(POINTS), np.empty((POINTS, n + 1)))
        self.log = Log(
            np.empty(EVENTS), np.empty(EVENTS, dtype=np.int64), np.empty(EVENTS, dtype=np.int64),
            np.empty(EVENTS, dtype=np.bool_),
        )  # fmt: skip
        self.still = Drive(
            0.0, np.zeros(hinges, dtype=np.bool_), *self.clock.thresholds(0.0), np.zeros((rows, WIDTH), dtype=np.int64),
            np.zeros((rows, WIDTH)), np.zeros(rows), np.zeros(rows), np.zeros(hinges, dtype=np.int64),
            np.zeros(hinges, dtype=np.int64), np.zeros(2, dtype=np.int64), np.zeros(1, dtype=np.uint64),
        )  # fmt: skip
        self.times: list[Floats] = []
        self.volts: list[Floats] = []
        self.time = 0.0
        self.h = FINEST
        self.steps = self.rescues = 0
        self.bound = ""
        self.ends: list[tuple[str, State, Bools]] = []

    def course(self) -> Course:
        clock = self.clock
        coming = list(self.stages)
        self.point()
        switched, begun = True, False
        while self.time < self.until and not self.bound:
            while coming and coming[0].seconds <= self.time:
                if self.ends or len(coming) < len(self.stages):
                    self.end_stage(len(self.stages) - len(coming) - 1)
                clock.begin(coming.pop(0), self.time)
                switched = True
            if not begun:
                clock.follow(self.time, range(len(self.rules.row_start) - 1))  # gates that are on with all rows below
                begun = True
            switched |= clock.fire(self.time)
            clock.arrived(self.time)
            upcoming = min([clock.next_time(self.time), self.until, *(stage.seconds for stage in coming[:1])])
            switched = self.go_on(upcoming, switched=switched)
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

    def go_on(self, end: float, *, switched: bool) -> bool:
        """Go on until ``end``, or until something happens that the clockwork has to follow; tell if a gate changed."""
        clock = self.clock
        longest = min([self.until, *(rise.seconds / RAMP_STEPS for rise in clock.rises.values())])
        threshold, rate = clock.thresholds(self.time)
        drive = self.still._replace(start=self.time, threshold=threshold, rate=rate)
        status, self.time, self.h, points, tried, row, logged = cruise(
            self.body, drive, self.now, self.store, self.work, self.trace, self.rules, clock.sides(), self.log,
            self.time, end, self.h, longest, self.until / RUN_POINTS, LEAST, PART, clock.haste, switched,
        )  # fmt: skip
        self.steps += tried
        self.times.append(self.trace.times[:points].copy())
        self.volts.append(self.trace.volts[:points].copy())
        clock.take(self.log, logged)
        if status in (STOPPED, STUCK):
            if not self.rescue():
                self.bound = "a moment without any solution"
                return False
            self.time += INSTANT
            self.point()
            self.h = INSTANT
        return status in (CROSSED, STOPPED, STUCK) and clock.settle(self.time, self.now.volts, row)

    def rescue(self) -> bool:
        """Take the short step with the fallbacks of the steady solver; tell whether they found a solution."""
        self.rescues += 1
        body, threshold = self.body, self.clock.thresholds(self.time + INSTANT)[0]
        companions = tuple(
            Source(storage.plus, storage.minus, float(volts), INSTANT / float(farads))
            for storage, volts, farads in zip(self.layout.storages, self.now.charge, body.farads, strict=True)
        )
        companion = flatten(vary(self.layout.network, (*self.layout.patches, *companions)))
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
