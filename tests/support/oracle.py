"""The likelihood by brute force: every fault on thousands of drawn boards, each board a Gaussian of meter and residual.

Nothing is linear here and no severity has a cell: a fault's likelihood is the mean over its draws. Boards to be
diagnosed come from the same distribution, so that a ranking can do no better than this one, but for its own scatter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from measured_boards import Boards, desk_of, displayed, drawn_network, drawn_severity
from numpy.typing import NDArray

from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.cells import RESTLESS_SHARE
from seqsim.diagnosis.conditions import conditions
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.diagnosis.likelihood import LOG_2PI, SLIP, misfits
from seqsim.diagnosis.predict import Branch, carried
from seqsim.diagnosis.rank import Diagnosis, diagnose, table_of
from seqsim.diagnosis.spread import RESIDUAL_OHMS, RESIDUAL_SHARE, RESIDUAL_VOLTS
from seqsim.network import vary
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings import Reading, Readings
from seqsim.readings.outcome import Zone

STEADY, OSCILLATES = 0, 1
LOST = -1e9
"""Logarithm of the likelihood of a draw that has no level at all."""


@dataclass(frozen=True)
class Ensemble:
    """Tip volts (f, n, r) of every fault on every drawn board, and whether that board oscillates or has no level."""

    tips: NDArray[np.float32]
    restless: Bools
    good: Bools

    def part(self, draws: slice) -> Ensemble:
        """Return some of the draws."""
        return Ensemble(self.tips[:, draws], self.restless[:, draws], self.good[:, draws])

    def log_likelihood(self, found: Diagnosis, columns: Ints, slip: float) -> Floats:
        """Return the logarithm (f,) of the mean density of what a diagnosis has read at some of the probes."""
        noise, count = found.noise, len(columns)
        numbers, words = np.flatnonzero(noise.number), np.flatnonzero(~noise.number)
        grid = np.ix_(numbers, numbers)
        narrow = noise.covariance[grid]
        broad = narrow + np.diag((RESTLESS_SHARE * noise.span[numbers]) ** 2)
        precise = [(np.asarray(np.linalg.inv(c)), float(np.linalg.slogdet(c)[1])) for c in (narrow, broad)]
        slips = np.full(count, slip)
        logs = np.zeros(len(self.tips))
        for f, tips in enumerate(self.tips[:, :, columns].astype(np.float64)):
            density = np.full(len(tips), LOST)
            for restless, (precision, determinant) in zip((False, True), precise, strict=True):
                here = self.good[f] & (self.restless[f] == restless)
                if here.any():
                    residual = noise.observed[numbers] - tips[here][:, numbers]
                    chi = misfits(residual, precision, slips[numbers], noise.span[numbers]) if len(numbers) else 0.0
                    density[here] = -chi / 2 - (determinant + len(numbers) * LOG_2PI) / 2
            for k in words:
                each, deviation = found.measurements[k], float(np.sqrt(noise.covariance[k, k]))
                assert isinstance(each.observed, Zone)
                chance = np.clip(each.chance(tips[:, k], deviation), 0.0, 1.0)
                density += np.log((1 - slip) * chance + slip / 2)
            logs[f] = np.logaddexp.reduce(density) - np.log(len(density))
        return logs


class Oracle:
    """Draws boards of one circuit with each fault of a list."""

    def __init__(self, boards: Boards, faults: Sequence[Hypothesis]) -> None:
        self.boards, self.faults = boards, tuple(faults)
        self.conditions = conditions(boards.measurements)
        states = [condition.state for condition in self.conditions]
        self.ways: list[list[Branch]] = [[] for _ in faults]
        for branch in branches_of(boards.desk, faults, states, 1, thresholds=False):
            self.ways[branch.hypothesis].append(branch)

    def way(self, fault: int, random: np.random.Generator) -> Branch:
        """Return one way in which a fault can look, by its weight."""
        weights = np.array([each.weight for each in self.ways[fault]])
        return self.ways[fault][int(random.choice(len(weights), p=weights / weights.sum()))]

    def draw(self, count: int, random: np.random.Generator) -> Ensemble:
        """Draw boards, each with every fault in turn at a severity of its own."""
        shape = (len(self.faults), count)
        tips = np.zeros((*shape, len(self.boards.probes)), dtype=np.float32)
        restless, good = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
        for n in range(count):
            ways = [self.way(f, random) for f in range(len(self.faults))]
            severities = [drawn_severity(fault, random) for fault in self.faults]
            tips[:, n], restless[:, n], good[:, n] = self.read(ways, severities, random)
        return Ensemble(tips, restless, good)

    def read(
        self, ways: Sequence[Branch], severities: Sequence[float], random: np.random.Generator
    ) -> tuple[Floats, Bools, Bools]:
        """Return the tip volts of faults on one drawn board (f, r), which oscillate and which have a level (f,)."""
        network = drawn_network(self.boards.network, random)
        at = desk_of(self.boards.circuit, network)
        own = [way.mode.patches(severity) for way, severity in zip(ways, severities, strict=True)]
        plain = [vary(network, patches) for patches in own]
        tips = np.zeros((len(ways), len(self.boards.probes)))
        restless, good = np.zeros(len(ways), dtype=np.bool_), np.ones(len(ways), dtype=np.bool_)
        for condition in self.conditions:
            variants = [
                vary(network, (*patches, *way.extra[condition.state])) if way.extra.get(condition.state) else variant
                for way, patches, variant in zip(ways, own, plain, strict=True)
            ]
            bench = at.benches[condition.state]
            starts = [
                carried(way.starts.get(condition.state, bench.levels.state), variant)
                for way, variant in zip(ways, variants, strict=True)
            ]
            solved = bench.run(variants, starts, condition.probes(variants))
            tips[:, condition.readings] = solved.read
            restless |= solved.steadiness == OSCILLATES
            good &= solved.steadiness <= OSCILLATES
        return tips, restless, good & np.isfinite(tips).all(axis=1)

    def board(self, fault: int, random: np.random.Generator) -> tuple[Reading, ...] | None:
        """Return what a meter shows at every probe of a board with a fault, or None where it is not steady."""
        way = self.way(fault, random)
        tips, restless, good = self.read([way], [drawn_severity(self.faults[fault], random)], random)
        if restless[0] or not good[0]:
            return None
        volts = self.residual(tips[0], random)
        return displayed(self.boards.probes, self.boards.measurements, volts, random)

    def residual(self, tips: Floats, random: np.random.Generator) -> Floats:
        """Return tip volts with what no law explains, as `noise` assumes it; no probe is there twice."""
        deviation = np.zeros(len(tips))
        for k, (each, tip) in enumerate(zip(self.boards.measurements, tips.tolist(), strict=True)):
            shown = float(each.convert(tip))
            if each.kind.live:
                deviation[k] = max(RESIDUAL_VOLTS, RESIDUAL_SHARE * abs(shown))
            elif np.isfinite(shown):
                deviation[k] = RESIDUAL_OHMS * abs(shown) / abs(float(each.slope(tip)))
        return np.asarray(tips + deviation * random.normal(size=len(tips)))


def by_group(evidence: Floats, faults: Sequence[Hypothesis], alike: Alike) -> dict[int, float]:
    """Return the probability of each group of look-alikes, from the evidence for each fault and its prior."""
    joint = evidence + np.log([fault.prior for fault in faults])
    probability = np.exp(joint - np.logaddexp.reduce(joint))
    total: dict[int, float] = {}
    for fault, each in zip(faults, probability, strict=True):
        group = alike.group[fault.name]
        total[group] = total.get(group, 0.0) + float(each)
    return total


@dataclass(frozen=True)
class Compared:
    """One board with a fault, and the chance of each group of look-alikes.

    By the ranking, by all draws, and by two halves of them: how far these differ is what the draws leave open.
    """

    fault: str
    group: int
    ranked: dict[int, float]
    drawn: dict[int, float]
    halves: tuple[dict[int, float], dict[int, float]]

    def loss(self, chances: dict[int, float]) -> float:
        """Return what the true group costs: minus the logarithm of its chance."""
        return -float(np.log(max(chances[self.group], 1e-12)))


def compared(
    oracle: Oracle, ensemble: Ensemble, columns: Ints, count: int, random: np.random.Generator
) -> Iterator[Compared]:
    """Draw boards with faults by their priors, and weigh what is read of them at some of the probes both ways."""
    boards, half = oracle.boards, ensemble.tips.shape[1] // 2
    table = table_of(boards.desk, [boards.measurements[k] for k in columns])
    offered = tuple(boards.probes[k] for k in columns)
    prior = np.array([fault.prior for fault in oracle.faults])
    while count > 0:
        fault = int(random.choice(len(prior), p=prior / prior.sum()))
        shown = oracle.board(fault, random)
        if shown is None:
            continue
        readings = Readings(readings=tuple(shown[k] for k in columns))
        found = diagnose(boards.circuit, readings, at=boards.desk, table=table, offered=offered)

        def grouped(evidence: Floats, alike: Alike = found.alike) -> dict[int, float]:
            return by_group(evidence, oracle.faults, alike)

        first, second = (
            ensemble.part(part).log_likelihood(found, columns, SLIP) for part in (slice(0, half), slice(half, 2 * half))
        )
        both = np.logaddexp(first, second) - np.log(2)
        name = oracle.faults[fault].name
        yield Compared(
            name,
            found.alike.group[name],
            grouped(found.posterior.evidence[: len(oracle.faults)]),
            grouped(both),
            (grouped(first), grouped(second)),
        )
        count -= 1


def leader(chances: dict[int, float]) -> int:
    """Return the likeliest group."""
    return max(chances, key=lambda group: chances[group])
