"""The quickest way to tell groups apart, by dynamic programming over which groups are left: a yardstick for advice.

A small board's *outcome table* says which outcome each reading on offer has under each group. A policy picks readings
until one group is left, or no reading tells the rest apart; its cost is the technician's time, expected over groups.
The optimum follows from the principle of optimality (Bellman, Dynamic Programming (1957); from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.advice import unchecked, unmeasured
from seqsim.diagnosis.alike import Alike, own_deviation
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.foresight import Standing
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.information import information
from seqsim.diagnosis.offers import Reach, offers, seconds_of
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.network.network import Floats, Ints
from seqsim.readings import Probe, measurement

TOLD_APART = 6.0
"""Standard deviations of meter and model between two outcomes."""
SPREAD_SHARE = 0.05
"""What parts and supplies add to that, as a share of the reading."""


Duty = tuple[int, ...]
"""Readings that have to be taken, whatever they tell."""


@dataclass(frozen=True)
class OutcomeTable:
    """Groups with their shares (g,), and for each reading on offer its outcome under each group (q, g).

    ``seconds`` maps the power state in which the board is to the time (q,) of each reading from there. ``ohms`` and
    ``volts`` are the readings of supplies that `next` asks for whatever they tell, without power and once it is on.
    """

    share: Floats
    outcomes: Ints
    states: tuple[str, ...]
    seconds: Mapping[str, Floats]
    ohms: Duty = ()
    volts: Duty = ()

    def optimum(self, *, supplies: bool = False) -> float:
        """Return the least expected time (s) to tell the groups apart, from a board without power.

        With ``supplies``, of all policies that know their ohms before power goes on and their volts before they take
        another reading with power.
        """

        @cache
        def rest(left: int, state: str, ohms: Duty, volts: Duty) -> float:
            best = np.inf
            for q, parts in self.useful(left):
                first = self.owed(q, ohms, volts)
                chosen, after = (q, parts) if first < 0 else (first, self.parts(first, left))
                later = sum(
                    self.weight(part) * rest(part, self.states[chosen], _less(ohms, first), _less(volts, first))
                    for part in after
                )
                best = min(best, float(self.seconds[state][chosen]) + later / self.weight(left))
            return 0.0 if np.isinf(best) else best

        return rest(self.everyone(), OFF, *((self.ohms, self.volts) if supplies else ((), ())))

    def by_rate(self, *, supplies: bool = False) -> float:
        """Return the expected time (s) of taking the reading that tells most for each second, again and again.

        With ``supplies`` first, as `next` has it.
        """

        def rest(left: int, state: str, ohms: Duty, volts: Duty) -> float:
            found = list(self.useful(left))
            if not found:
                return 0.0
            q, parts = max(found, key=lambda each: self.bits(each[1]) / self.seconds[state][each[0]])
            if (first := self.owed(q, ohms, volts)) >= 0:
                q, parts = first, self.parts(first, left)
                ohms, volts = _less(ohms, first), _less(volts, first)
            later = sum(self.weight(part) * rest(part, self.states[q], ohms, volts) for part in parts)
            return float(self.seconds[state][q]) + later / self.weight(left)

        return rest(self.everyone(), OFF, *((self.ohms, self.volts) if supplies else ((), ())))

    def owed(self, wanted: int, ohms: Duty, volts: Duty) -> int:
        """Return the reading of a supply that has to come before a wanted one, or -1."""
        if self.states[wanted] == OFF:
            return -1
        return next(iter((*ohms, *volts)), -1)

    def everyone(self) -> int:
        """Return all groups as bits of one number."""
        return (1 << len(self.share)) - 1

    def weight(self, left: int) -> float:
        """Return the share of some groups."""
        return float(sum(share for g, share in enumerate(self.share) if left >> g & 1))

    def useful(self, left: int) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Yield the readings that part what is left, with the parts; of those that part alike, the quickest."""
        seen: set[tuple[str, tuple[int, ...]]] = set()
        quick = np.argsort(self.seconds[OFF], kind="stable")
        for q in quick.tolist():
            key = self.states[q], self.parts(q, left)
            if len(key[1]) > 1 and key not in seen:
                seen.add(key)
                yield q, key[1]

    def parts(self, q: int, left: int) -> tuple[int, ...]:
        """Return the parts into which a reading parts what is left."""
        parts: dict[int, int] = {}
        for g in range(len(self.share)):
            if left >> g & 1:
                parts[int(self.outcomes[q, g])] = parts.get(int(self.outcomes[q, g]), 0) | 1 << g
        return tuple(sorted(parts.values()))

    def bits(self, parts: Sequence[int]) -> float:
        """Return what a reading tells (bits) that parts what is left."""
        table = np.zeros((len(self.share), len(parts)))
        for column, part in enumerate(parts):
            for g, share in enumerate(self.share):
                if part >> g & 1:
                    table[g, column] = share
        return information(table / table.sum())


def _less(duty: Duty, taken: int) -> Duty:
    return tuple(q for q in duty if q != taken)


def outcome_table(circuit: Circuit, desk: Desk, alike: Alike, faults: Sequence[Hypothesis], most: int) -> OutcomeTable:
    """Return the table of the likeliest groups, ``most`` of them, each standing for its likeliest member."""
    share: dict[int, float] = {}
    lead: dict[int, Hypothesis] = {}
    for fault in faults:
        group = alike.group[fault.name]
        share[group] = share.get(group, 0.0) + fault.prior
        if group not in lead or fault.prior > lead[group].prior:
            lead[group] = fault
    groups = sorted(share, key=lambda group: -share[group])[:most]
    probes: list[Probe] = [each.probe for each in offers(circuit)]
    measurements = [measurement(circuit, probe) for probe in probes]
    branches = [Branch(k, 1.0, lead[group].modes[0], 1) for k, group in enumerate(groups)]
    tips = Predictor(desk, conditions(measurements), len(measurements)).nominal(branches).tips
    outcomes = np.zeros((len(probes), len(groups)), dtype=np.int64)
    for q, each in enumerate(measurements):
        wide = np.hypot(own_deviation(each, tips[:, q]), SPREAD_SHARE * np.abs(tips[:, q]))
        order = np.argsort(tips[:, q], kind="stable")
        far = np.diff(tips[order, q]) > TOLD_APART * np.maximum(wide[order[1:]], wide[order[:-1]])
        outcomes[q, order] = np.concatenate([[0], np.cumsum(far)])
    reach = Reach.of(circuit)
    seconds = {
        state: np.array([seconds_of(circuit, reach, probe, state) for probe in probes])
        for state in circuit.power_states
    }
    weights = np.array([share[group] for group in groups])
    before = Standing.before(circuit, desk, alike)
    ohms = [Probe(kind="ohms", place=net, state=OFF) for net in unchecked(before)]
    return OutcomeTable(
        weights / weights.sum(), outcomes, tuple(probe.state for probe in probes), seconds,
        tuple(map(probes.index, ohms)), tuple(map(probes.index, unmeasured(before))),
    )  # fmt: skip
