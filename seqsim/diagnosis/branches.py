"""The ways in which one fault can look: floating inputs either way, undecided thresholds, several stable states."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.diagnosis.conditions import Desk
from seqsim.diagnosis.hypotheses import HEALTHY, Hypothesis
from seqsim.diagnosis.predict import Branch, carried, on_network
from seqsim.faults import SubMode
from seqsim.faults.together import Grid
from seqsim.network import GROUND, Bridge, Effect, Patch, SetSide, Variant, vary
from seqsim.network.network import Floats
from seqsim.parts.mosfet import Mosfet
from seqsim.readings.outcome import normal_below
from seqsim.solver import FLOATING_OHMS
from seqsim.solver.batch import Probes, Solved
from seqsim.solver.plain import all_off
from seqsim.solver.state import State

TIE_SIEMENS = 1e-5
"""A floating gate of a MOSFET is tried at either extreme through 100 kΩ: no meter of 10 MΩ would hold it there."""
LEVEL_SD = 0.02
"""Standard deviation (V) of a level that meets a threshold, besides the threshold's own (our judgement)."""
LEAST_CHANCE = 0.02
"""Branches less likely than this are left out."""
CERTAIN = 3.0
"""Standard deviations beyond which the other side of a threshold is less likely than that by far."""
HISTORY_SHARE = 0.8
"""Weight of the stable state that the order of the power states leads to, where there are several."""
DIFFERENT_VOLTS = 0.1
ENDS = 10
"""Severities of a fault, as many, of which the first and the last are tried for stable states of their own."""
MOST_ISLANDS = 2
"""Floating islands of one fault that are tried both ways; further ones stay as they are."""
STEADY = 0


@dataclass(frozen=True)
class Listener:
    """An input that draws no current: rule rows that sense a terminal, or the gate of a MOSFET."""

    terminal: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class _History:
    """Another way in which a hypothesis, by its number, may go through the power states, from one of them on.

    ``due`` tells that the order of the power states leads there, if at an end of the severities alone.
    """

    number: int
    variant: Variant
    states: dict[str, State]
    due: bool

    @property
    def last(self) -> State:
        """The state of the board in the power state that was reached last."""
        return next(reversed(self.states.values()))


def listeners(desk: Desk) -> tuple[Listener, ...]:
    """Return the inputs of a circuit that may float."""
    network = desk.network
    rows: dict[str, list[tuple[str, str]]] = {}
    for k in np.flatnonzero(network.row_high_impedance):
        for t in network.rows.rise_at[k]:
            name = network.terminals[t] if t >= 0 else ""
            # the input itself carries the weight 1, shares of the supply carry less
            if t >= 0 and network.rows.rise_weight[k][list(network.rows.rise_at[k]).index(t)] == 1.0:
                rows.setdefault(name, []).append((network.row_owners[k], network.row_names[k]))
                break
    for part in desk.circuit.parts.values():
        if isinstance(part, Mosfet):
            rows.setdefault(part.pin("G"), [])
    return tuple(Listener(terminal, tuple(found)) for terminal, found in rows.items())


def branches_of(
    desk: Desk, hypotheses: Sequence[Hypothesis], states: Sequence[str], points: int, *, thresholds: bool = True
) -> list[Branch]:
    """Return the branches of hypotheses of one mode each, in the power states that are read.

    Without ``thresholds`` undecided thresholds make no branches: who draws them at random needs none.
    """
    names = tuple(hypothesis.name for hypothesis in hypotheses)
    key = names, tuple(state for state in desk.circuit.power_states if state in states), points, thresholds
    found = desk.branched.get(key) or tuple(_Brancher(desk, hypotheses, states, points).all(thresholds=thresholds))
    if HEALTHY.name in names:  # such a list is asked for again; one that readings suggest mostly is not
        desk.branched[key] = found
    return list(found)


class _Brancher:
    """Solves every hypothesis once at its middle severity, in every power state, and looks at what is undecided."""

    def __init__(self, desk: Desk, hypotheses: Sequence[Hypothesis], states: Sequence[str], points: int) -> None:
        self.desk = desk
        self.hypotheses = hypotheses
        self.read = tuple(state for state in desk.circuit.power_states if state in states)
        self.points = points
        self.inputs = listeners(desk)
        middle = [Branch(k, 1.0, h.modes[0], 1) for k, h in enumerate(hypotheses)]
        # several faults have a grid of severities, however few are asked for
        self.variants = [vary(desk.network, branch.patches_at(len(branch.severities) // 2)) for branch in middle]
        self.spread = _row_spread(desk)
        self.main: dict[str, Solved] = {}
        self.states: dict[str, list[State]] = {}
        self.histories: list[_History] = []
        ends = [(k, h.modes[0], at) for k, h in enumerate(hypotheses) for at in _ends(h.modes[0])]
        self.end_numbers = [k for k, _, _ in ends]
        self.ends = [vary(desk.network, mode.patches(at)) for _, mode, at in ends]
        self.before_ends: list[State] = []
        self.parted: set[int] = set()
        self._solve()

    def _solve(self) -> None:
        """Go through the power states in their order, each from where the one before left off."""
        before: list[State] | None = None
        last = max((i for i, s in enumerate(self.desk.circuit.power_states) if s in self.read), default=-1)
        for state in list(self.desk.circuit.power_states)[: last + 1]:
            bench = self.desk.benches[state]
            on = bool(self.desk.circuit.power_states[state].on)
            solved = bench.run(self.variants, before, self._probes() if on else None)
            self.main[state] = solved
            before = [bench.state_of(solved, k, v) for k, v in enumerate(self.variants)]
            self.states[state] = before
            gone_on = self._gone_on(state)
            self.histories += self._at_the_ends(state)
            if state in self.read and on:  # without power there is but one
                self.histories += self._other_states(state, solved, gone_on)

    def _probes(self) -> Probes:
        count = len(self.inputs)
        at = np.array([[v.node(i.terminal) for i in self.inputs] for v in self.variants], dtype=np.int64)
        ground = np.full((len(self.variants), count), -1, dtype=np.int64)
        return Probes(at.reshape(ground.shape), ground, np.zeros(count), np.zeros(count), np.full(count, np.inf))

    def _gone_on(self, state: str) -> list[tuple[int, Floats]]:
        """Lead the other histories on to the next power state; return their hypotheses and what levels they have there.

        What a board has latched in one power state it keeps in the next, as long as that lets it.
        """
        if not self.histories:
            return []
        bench = self.desk.benches[state]
        variants = [each.variant for each in self.histories]
        solved = bench.run(variants, [each.last for each in self.histories])
        for k, (each, variant) in enumerate(zip(self.histories, variants, strict=True)):
            each.states[state] = bench.state_of(solved, k, variant)
        return [(each.number, solved.volts[k]) for k, each in enumerate(self.histories)]

    def _other_states(self, state: str, solved: Solved, gone_on: Iterable[tuple[int, Floats]]) -> list[_History]:
        """Return the histories that begin here: other stable states that a start from all off or all on leads to."""
        bench = self.desk.benches[state]
        found: list[_History] = []
        known = [[solved.volts[k]] for k in range(len(self.variants))]
        for k, volts in gone_on:
            known[k].append(volts)
        nets = self.desk.network.nets
        healthy = bench.levels.state
        off = all_off(bench.levels.system)
        # every device held on at once is no state of a board: only what rules remember starts on
        on = State(healthy.conducting, np.ones_like(healthy.above), np.ones_like(healthy.ratios))
        for start in (off, on):
            trial = bench.run(self.variants, [carried(start, v) for v in self.variants])
            for k, variant in enumerate(self.variants):
                if trial.steadiness[k] != STEADY or solved.steadiness[k] != STEADY:
                    continue
                volts = trial.volts[k]
                if all(np.abs(volts - other)[:nets].max() > DIFFERENT_VOLTS for other in known[k]):
                    known[k].append(volts)
                    found.append(_History(k, variant, {state: bench.state_of(trial, k, variant)}, due=False))
        return found

    def _at_the_ends(self, state: str) -> Iterator[_History]:
        """Yield the histories that part here at a low or a high severity: a short may latch what more ohms do not."""
        bench, numbers, variants = self.desk.benches[state], self.end_numbers, self.ends
        if not variants:
            return
        solved = bench.run(variants, self.before_ends or None)
        self.before_ends = [bench.state_of(solved, e, v) for e, v in enumerate(variants)]
        same = bench.run(variants, [self.states[state][k] for k in numbers])
        steady = (solved.steadiness == STEADY) & (same.steadiness == STEADY)
        parted = (np.abs(solved.volts - same.volts)[:, : self.desk.network.nets] > DIFFERENT_VOLTS).any(axis=1)
        for e in np.flatnonzero(steady & parted).tolist():
            if e not in self.parted:
                self.parted.add(e)
                yield _History(numbers[e], variants[e], {state: self.before_ends[e]}, due=True)

    def all(self, *, thresholds: bool) -> Iterator[Branch]:
        for k, hypothesis in enumerate(self.hypotheses):
            starts = {s: on_network(self.states[s][k], self.variants[k]) for s in self.read}
            base = Branch(k, 1.0, hypothesis.modes[0], self.points, {}, starts)
            for branch in self._stable(k, base):
                yield from self._undecided(k, branch, thresholds=thresholds)

    def _stable(self, k: int, base: Branch) -> Iterator[Branch]:
        """Yield a branch for each history; that of the power states in their order is likely."""
        others = [each for each in self.histories if each.number == k]
        if not others:
            yield base
            return
        due = 1 + sum(each.due for each in others)
        share = HISTORY_SHARE if due <= len(others) else 1.0
        yield replace(base, weight=share / due)
        for each in others:
            own = {s: on_network(each.states[s], each.variant) for s in self.read if s in each.states}
            weight = share / due if each.due else (1 - share) / (len(others) + 1 - due)
            yield replace(base, weight=weight, starts={**base.starts, **own})

    def _undecided(self, k: int, branch: Branch, *, thresholds: bool) -> Iterator[Branch]:
        """Yield a branch for either side of floating inputs, or of the threshold that is least decided."""
        islands = self._islands(k)
        if islands:
            for pattern in range(1 << len(islands)):
                extra: dict[str, tuple[Patch, ...]] = {}
                for i, sides in enumerate(islands):
                    for state, patches in sides[pattern >> i & 1].items():
                        extra[state] = (*extra.get(state, ()), *patches)
                yield replace(branch, weight=branch.weight / (1 << len(islands)), extra=extra)
            return
        chance, flipped = self._closest(k) if thresholds else (0.0, {})
        if flipped:
            yield replace(branch, weight=branch.weight * chance, extra=flipped)
        yield replace(branch, weight=branch.weight * (1 - chance))

    def _islands(self, k: int) -> list[tuple[dict[str, tuple[Patch, ...]], dict[str, tuple[Patch, ...]]]]:
        """Return for each floating island the patches, by power state, that hold it low and high."""
        variant = self.variants[k]
        islands: dict[int, tuple[dict[str, tuple[Patch, ...]], dict[str, tuple[Patch, ...]]]] = {}
        for state in self.read:
            solved = self.main[state]
            if not self.desk.circuit.power_states[state].on:
                continue
            for i, listener in enumerate(self.inputs):
                node = variant.node(listener.terminal)
                if node < 0 or solved.ohms[k, i] < FLOATING_OHMS:
                    continue
                low, high = islands.setdefault(node, ({}, {}))
                for side, above in ((low, False), (high, True)):
                    held: tuple[Patch, ...] = tuple(SetSide(owner, row, above) for owner, row in listener.rows)
                    if not held:
                        held = (Bridge(listener.terminal, self._extreme(state, above=above), TIE_SIEMENS),)
                    side[state] = (*side.get(state, ()), *held)
        return list(islands.values())[:MOST_ISLANDS]

    def _extreme(self, state: str, *, above: bool) -> str:
        """Return the net of the highest supply that is applied, or ground."""
        on = [self.desk.circuit.supplies[name] for name in self.desk.circuit.power_states[state].on]
        best = max(on, key=lambda supply: supply.volts, default=None)
        return best.net if above and best is not None else GROUND

    def _closest(self, k: int) -> tuple[float, dict[str, tuple[Patch, ...]]]:
        """Return the chance that the least decided threshold lies on the other side, and the patches of that."""
        best, chosen = LEAST_CHANCE, -1
        network, variant = self.desk.network, self.variants[k]
        chances: dict[str, Floats] = {}
        for state in self.read:
            solved = self.main[state]
            if solved.steadiness[k] != STEADY or not len(self.spread):
                continue
            above = solved.above[k]
            volts = np.append(solved.volts[k], 0.0)
            at = np.where(above[:, None], variant.rows.fall_at, variant.rows.rise_at)
            weight = np.where(above[:, None], variant.rows.fall_weight, variant.rows.rise_weight)
            threshold = np.where(above, variant.rows.falling[0], variant.rows.rising[0])
            margin = np.abs((weight * volts[at]).sum(axis=1) - threshold)
            near = np.flatnonzero((variant.side_force < 0) & (margin < CERTAIN * self.spread))
            chances[state] = np.zeros(len(margin))
            chances[state][near] = normal_below(-margin[near] / self.spread[near])
            row = int(np.argmax(chances[state]))
            if chances[state][row] > best:
                best, chosen = float(chances[state][row]), row
        if chosen < 0:
            return 0.0, {}
        flipped: dict[str, tuple[Patch, ...]] = {}
        for state, chance in chances.items():
            if chance[chosen] > LEAST_CHANCE:
                side = not self.main[state].above[k][chosen]
                flipped[state] = (SetSide(network.row_owners[chosen], network.row_names[chosen], side),)
        return best, flipped


def _ends(mode: SubMode) -> tuple[float, ...]:
    """Return a low and a high severity of a mode, if it has any."""
    if mode.severity is None or isinstance(mode.severity, Grid):
        return ()
    points = mode.severity.points(ENDS)
    return float(points[0]), float(points[-1])


def _row_spread(desk: Desk) -> Floats:
    """Standard deviation (r,) of what a rule row compares: its threshold's, and that of a level."""
    network = desk.network
    square = np.full(len(network.row_names), LEVEL_SD**2)
    for knob in network.knobs.values():
        for turned in knob.turned:
            if turned.effect is Effect.ROW:
                for k in network.rows_of.get(knob.owner, ()):
                    if network.row_names[k] == turned.role:
                        square[k] += (turned.coefficient * knob.spread) ** 2
    return np.asarray(np.sqrt(square))
