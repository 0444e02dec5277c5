"""A power-up of a circuit, healthy or faulted, with what its tolerances can change."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import Circuit, compile_network
from seqsim.circuit.model import OFF
from seqsim.errors import UnknownPlaceError
from seqsim.faults import find_fault, middle
from seqsim.network import Network, Patch, Turn
from seqsim.sequence.rails import HIGH, PULSES, asked_until, judge_rails, judge_target, up_at
from seqsim.sequence.result import PowerUp, Race, RailUp, RuleCheck, TargetUp
from seqsim.sequence.rules import RuleBook
from seqsim.sequence.timetable import Timetable, timetable
from seqsim.sequence.waiting import Waiting
from seqsim.sequence.words import Story
from seqsim.solver import Levels, Steadiness, solve_variant
from seqsim.solver.course import Course, What
from seqsim.solver.transient import simulate

DRAWS = 16
"""Boards with other tolerances that are run beside the nominal one."""
WIDEST = 2.5
"""Draws stay within so many standard deviations: boards are tested before they leave the factory (our judgement)."""
SEED = 7


def power_up(
    name: str,
    circuit: Circuit,
    faults: Sequence[str] = (),
    until: float | None = None,
    *,
    down: bool = False,
    draws: int | None = None,
) -> PowerUp:
    """Return what happens over time when the power states are gone through in their order.

    Parameters
    ----------
    name
        What the circuit is called in the answer.
    circuit
        The circuit.
    faults
        Faults by name.
    until
        End (s); by default long enough for the parts' own delays after the last state.
    down
        Go back through the power states afterwards.
    draws
        Boards with other tolerances that are run, to find what depends on them; 0 for none, by default 16.

    Raises
    ------
    UnknownPlaceError
        If there is no such fault.
    """
    return _Asked(name, circuit, tuple(faults), until, down).answer(DRAWS if draws is None else draws)


def fault_patches(circuit: Circuit, faults: Sequence[str]) -> tuple[Patch, ...]:
    """Return the patches of faults, each at its severity or in the middle of its severities."""
    found: list[Patch] = []
    for text in faults:
        fault, severity = find_fault(circuit, text)
        found += fault.patches(middle(fault.severity) if severity is None else severity)
    return tuple(found)


def reached(circuit: Circuit, state: str, patches: Sequence[Patch] = ()) -> Levels:
    """Return the levels that a power-up comes to in a power state, where several are possible.

    Where the board still starts and stops, they are its average.

    Raises
    ------
    UnknownPlaceError
        If there is no such state.
    """
    if state not in circuit.power_states or state == OFF:
        raise UnknownPlaceError(f"there is no power state called '{state}' to power up to", place=state)
    network = compile_network(circuit)
    table = timetable(circuit, network)
    stages = [stage.name for stage in table.stages]
    upto = stages.index(state)
    later = [stage.seconds for stage in table.stages[upto + 1 :]]
    until = min([table.until, *later])
    course = simulate(network, patches, table.stages[: upto + 1], until, table.before)
    since = (table.stages[upto].seconds + until) / 2
    settled = solve_variant(course.variant, table.stages[upto].static, course.ends[upto][1])
    driven = course.variant.network.gate_rule
    turns = Counter(e.name for e in course.events if e.what is What.GATE and e.on and e.seconds > since)
    loop = [name for name, k in course.variant.network.gate_index.items() if driven[k] >= 0 and turns[name] > PULSES]
    if not loop:
        return settled
    owners = tuple(dict.fromkeys(name.partition(":")[0] for name in loop))
    return replace(settled, volts=course.means(since), steadiness=Steadiness.OSCILLATES, loop=owners)


@dataclass(frozen=True)
class _Drawn:
    """What one board with other tolerances did: when each net came up, which rules it broke."""

    up: dict[str, float | None]
    broken: tuple[bool, ...]


@dataclass(frozen=True)
class _Asked:
    """One question: a circuit with faults, powered up until a time."""

    name: str
    circuit: Circuit
    faults: tuple[str, ...]
    until: float | None
    down: bool

    def answer(self, draws: int) -> PowerUp:
        circuit = self.circuit
        network = compile_network(circuit)
        patches = fault_patches(circuit, self.faults)
        table = timetable(circuit, network, self.until, down=self.down)
        course = simulate(network, patches, table.stages, table.end, table.before)
        healthy = simulate(network, (), table.stages, table.end, table.before) if patches else course
        inside = healthy.times <= table.until
        highest = {net: float(healthy.at(net)[inside].max()) for net in network.node_names[: network.nets]}
        expected = {net: up_at(healthy, rail, table.until) for net, rail in circuit.rails.items()}
        asked = asked_until(circuit, healthy, table.until)
        rails = judge_rails(circuit, course, table.until, expected, asked)
        level = HIGH * max(highest[circuit.target], 0.1) if circuit.target is not None else 0.0
        target = judge_target(circuit, course, table.until, level)
        book = RuleBook(circuit, highest)
        rules = book.check(course, table.until, table.off)
        shown = table.end if self.down else float(np.nextafter(table.until, 0.0))
        story = Story(circuit, course, shown, level if circuit.target is not None else None)
        missing = next((rail.net for rail in rails if not rail.came_up), None)
        waiting = self._waiting(course, table, table.until if missing is None else asked[missing])
        waits_for = None
        if waiting is not None and missing is not None:
            waits_for = waiting.reason(missing) or f"{missing} has nothing that feeds it in this circuit"
        if waiting is not None and target is not None and target.high_at is None:
            target = replace(target, held_by=waiting.signal(target.net))
        result = PowerUp(
            self.name, self.faults, rails, missing, waits_for, target,
            story.happenings(), rules, tuple((s.name, s.seconds) for s in table.stages if s.seconds < shown),
            table.until, story.oscillations(), course.chatter, skipped=table.skipped, bound=course.bound,
            course=course,
        )  # fmt: skip
        if not draws:
            return result
        return self._with_odds(result, network, patches, table, book, level, asked, draws)

    def _waiting(self, course: Course, table: Timetable, until: float) -> Waiting | None:
        """Return the board at a time, in the last power state that began before it."""
        if not course.ends:
            return None
        stage = sum(1 for stage in table.stages if stage.seconds < until) - 1
        return Waiting.at_end(self.circuit, course, until, min(max(stage, 0), len(course.ends) - 1))

    def _with_odds(
        self, result: PowerUp, network: Network, patches: tuple[Patch, ...], table: Timetable, book: RuleBook,
        level: float, asked: Mapping[str, float], draws: int,
    ) -> PowerUp:  # fmt: skip
        random = np.random.default_rng(SEED)
        boards = [self._drawn(network, patches, table, book, level, asked, random) for _ in range(draws)]
        rails: list[RailUp] = []
        for rail in result.rails:
            share = sum(board.up[rail.net] is not None for board in boards) / draws
            rails.append(replace(rail, odds=share))
        rules: list[RuleCheck] = []
        for k, rule in enumerate(result.rules):
            rules.append(replace(rule, broken=sum(board.broken[k] for board in boards) / draws))
        target: TargetUp | None = result.target
        if target is not None:
            key = f"{target.net} high"
            target = replace(target, odds=sum(board.up[key] is not None for board in boards) / draws)
        return replace(
            result, rails=tuple(rails), rules=tuple(rules), target=target, races=self._races(boards), draws=draws
        )

    def _drawn(
        self, network: Network, patches: tuple[Patch, ...], table: Timetable, book: RuleBook, level: float,
        asked: Mapping[str, float], random: np.random.Generator,
    ) -> _Drawn:  # fmt: skip
        turns = []
        for (owner, knob), found in network.knobs.items():
            if found.spread > 0:
                step = found.spread * float(np.clip(random.standard_normal(), -WIDEST, WIDEST))
                turns.append(Turn(owner, knob, float(np.exp(step)) if found.neutral == 1 else step))
        course = simulate(network, (*turns, *patches), table.stages, table.end, table.before)
        up: dict[str, float | None] = {}
        for rail in judge_rails(self.circuit, course, table.until, asked=asked):
            up[rail.net] = rail.up_at if rail.came_up else None
        target = judge_target(self.circuit, course, table.until, level)
        if target is not None:
            up[f"{target.net} high"] = target.high_at
        broken = tuple(not rule.holds for rule in book.check(course, table.until, table.off))
        return _Drawn(up, broken)

    def _races(self, boards: Sequence[_Drawn]) -> tuple[Race, ...]:
        """Return the pairs of rails whose order is not the same on all boards."""
        nets = list(self.circuit.rails)
        found = []
        for i, one in enumerate(nets):
            for other in nets[i + 1 :]:
                pairs = [(board.up[one], board.up[other]) for board in boards]
                order = [a < b for a, b in pairs if a is not None and b is not None]
                if order and 0 < sum(order) < len(order):
                    found.append(Race(one, other, sum(order) / len(order)))
        return tuple(found)
