"""Sets of faults that together explain what no single one explains, found without the full likelihood of each.

What single faults show tells which pairs are worth solving: each reading explained by one of them, or by the sum of
what they change. One fault stands for all that read the same. Larger sets grow from the best pairs.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.cells import WORD_UNEXPLAINED, rough_volts
from seqsim.diagnosis.points import Point
from seqsim.diagnosis.predict import Branch
from seqsim.diagnosis.table import COARSE_POINTS, Table
from seqsim.faults import Fault, SubMode
from seqsim.faults.together import EXCLUSIVE
from seqsim.network import Move, Patch
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings.outcome import Zone
from seqsim.solver.state import State

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

BY_SUM, BY_EITHER, BEST_FIRSTS = 300, 300, 3
"""Sets that are solved once: by the sum of what the faults change, by either explaining a reading, and the faults
that explain most by themselves with every other."""
REFINED = 40
"""Sets, the best so far, that are solved again at all severities of their faults that read differently."""
NEAR = 60
"""Sets of neighbours that alone move no reading, solved once: two paths of which either is enough."""
PLACES = 20
"""Severities and branches of a set that are looked through for its best."""
ROUGH_LEAD = 60.0
"""What exceeds the best rough χ² of a set by more than this is out of the running: a level between two junctions moves
far with what parts and severities leave open."""
ASTRAY = 25.0
"""χ² beyond which a reading counts as not explained at all."""
ROUGH_SHARE = 0.03
"""Spread that is assumed of every prediction while sets are searched, beside that of `cells.rough_volts`."""
BETTER = 1.0
"""Rough χ² by which a set must beat its parts to be looked at."""
SAME_VOLTS = 0.05
"""Severities of one fault that read this much alike are tried once."""


@dataclass(frozen=True)
class Item:
    """Faults at fixed severities, and the tip volts (r,) that they give; ``which`` are numbers of hypotheses.

    ``name`` are the items of the coarse predictions that it is made of.
    """

    name: tuple[int, ...]
    which: tuple[int, ...]
    severities: tuple[float, ...]
    tips: Floats
    extra: dict[str, tuple[Patch, ...]]
    starts: dict[str, State]


Named = tuple[tuple[int, ...], Branch]
"""A set as a branch of one severity, named by the items of the coarse predictions that it is made of."""


class Search:
    """What the search goes by: readings, their rough spread, and one fault for all that read the same."""

    def __init__(self, found: Diagnosis, table: Table) -> None:
        self.found = found
        self.branches = [replace(branch, points=COARSE_POINTS) for branch in table.branches]
        self.coarse = coarse = table.coarse
        self.predictor = table.predictor
        self.points = table.surveyed.points
        noise = found.noise
        wide = np.diag(noise.covariance) + (ROUGH_SHARE * noise.observed) ** 2 + rough_volts(noise) ** 2
        self.sigma = np.sqrt(wide)
        self.faults = {k: h.fault for k, h in enumerate(found.hypotheses) if h.fault is not None}
        healthy = np.flatnonzero((coarse.branch == 0) & coarse.good)
        self.healthy = coarse.tips[healthy[0]] if len(healthy) else np.zeros(len(found.measurements))

    def fault(self, number: int) -> Fault:
        """Return the fault of a listed hypothesis."""
        return self.faults[number]

    def singles(self) -> list[Item]:
        """Return one fault of all that read the same, at the severities that read differently."""
        return [
            self.single(item) for mine in self.together.values() for item in self.different[mine[0]].values()
        ]  # fmt: skip

    def same(self, number: int) -> list[int]:
        """Return the faults that read the same as one of them, the likeliest first."""
        return self.together[self.stands_for[number]]

    @cached_property
    def different(self) -> dict[int, dict[bytes, int]]:
        """Return for each fault by its number what it shows, with the first item that shows it."""
        found: dict[int, dict[bytes, int]] = {}
        shown = np.round(self.coarse.tips / SAME_VOLTS).astype(np.int64)
        for item in np.flatnonzero(self.coarse.good).tolist():
            number = self.branches[self.coarse.branch[item]].hypothesis
            if number in self.faults:
                found.setdefault(number, {}).setdefault(shown[item].tobytes(), item)
        return found

    @cached_property
    def together(self) -> dict[Hashable, list[int]]:
        """Return the faults that read the same, the likeliest first.

        Those that look healthy by themselves may differ as soon as another comes along: each is alone.
        """
        healthy = np.round(self.healthy / SAME_VOLTS).astype(np.int64).tobytes()
        found: dict[Hashable, list[int]] = {}
        for number, shown in self.different.items():
            found.setdefault(number if shown.keys() == {healthy} else frozenset(shown), []).append(number)
        return {key: sorted(mine, key=lambda k: -self.fault(k).prior) for key, mine in found.items()}

    @cached_property
    def stands_for(self) -> dict[int, Hashable]:
        """Return what the faults show that one of them stands for, by its number."""
        return {number: key for key, mine in self.together.items() for number in mine}

    def single(self, item: int) -> Item:
        """Return an item of the coarse predictions as a set of one fault."""
        branch = self.branches[self.coarse.branch[item]]
        severity = float(branch.severities[self.coarse.severity[item]])
        extra, starts = dict(branch.extra), dict(branch.starts)
        return Item((item,), (branch.hypothesis,), (severity,), self.coarse.tips[item], extra, starts)

    def misses(self, tips: Floats) -> Floats:
        """Return χ² of each reading (..., r) at tip volts; a word counts by its chance."""
        noise = self.found.noise
        chi = np.minimum(((tips - noise.observed) / self.sigma) ** 2, ASTRAY)
        for k in np.flatnonzero(~noise.number):
            each = self.found.measurements[k]
            chi[..., k] = 0.0
            if isinstance(each.observed, Zone):
                chance = each.chance(tips[..., k], self.sigma[k], float(self.found.largest[k]))
                chi[..., k] = -2 * np.log(np.maximum(chance, WORD_UNEXPLAINED / 2))
        return np.asarray(chi)

    def grown(self, firsts: Sequence[Item], seconds: Sequence[Item]) -> list[Item]:
        """Return sets of one of ``firsts`` and one of ``seconds``, solved once, the best first."""
        if not firsts or not seconds:
            return []
        chosen = self.promising(firsts, seconds)
        joined, tips, chi, rarity = self.tried(firsts, seconds, chosen)
        best_first = np.argsort(chi + rarity, kind="stable")[:REFINED]
        further = _at_other_severities(firsts, seconds, chosen, [chosen[k] for k in best_first])
        if further:
            again = self.tried(firsts, seconds, further)
            chosen, joined = [*chosen, *further], [*joined, *again[0]]
            tips, chi, rarity = (
                np.concatenate(both) for both in zip((tips, chi, rarity), again[1:], strict=True)
            )  # fmt: skip
        alone = self.alone(firsts) | self.alone(seconds)
        best: dict[tuple[int, ...], Item] = {}
        for k in np.argsort(chi + rarity, kind="stable"):
            a, b = firsts[chosen[k][0]], seconds[chosen[k][1]]
            which, severities = _sorted((*a.which, *b.which), (*a.severities, *b.severities))
            worth = chi[k] < min(alone[a.which], alone[b.which]) - BETTER
            if worth and chi[k] < chi.min() + ROUGH_LEAD and which not in best:
                name, branch = joined[k]
                best[which] = Item(name, which, severities, tips[k], dict(branch.extra), dict(branch.starts))
        return list(best.values())

    def tried(
        self, firsts: Sequence[Item], seconds: Sequence[Item], chosen: Sequence[tuple[int, int]]
    ) -> tuple[list[Named], Floats, Floats, Floats]:
        """Return sets, solved once, with their tips (s, r), χ² (s,) and what their rarity counts beside it (s,)."""
        joined = [self.joined(firsts[a], seconds[b]) for a, b in chosen]
        wanted: dict[Hashable, Point] = {name: (branch, 0) for name, branch in joined}
        seen = self.points.at(wanted, self.predictor.conditions, self.predictor.readings)
        chi = np.where(seen.good, self.misses(seen.tips).sum(axis=1), np.inf)
        one, two = self.rarity(firsts), self.rarity(seconds)
        return joined, seen.tips, chi, np.array([one[a] + two[b] for a, b in chosen])

    def alone(self, items: Sequence[Item]) -> dict[tuple[int, ...], float]:
        """Return the least χ² of the faults of each item without any other."""
        best: dict[tuple[int, ...], float] = {}
        for item, chi in zip(items, self.misses(np.stack([item.tips for item in items])).sum(axis=1), strict=True):
            best[item.which] = min(best.get(item.which, np.inf), float(chi))
        return best

    def promising(self, firsts: Sequence[Item], seconds: Sequence[Item]) -> list[tuple[int, int]]:
        """Return which two to solve together, from what each shows alone."""
        one, two = np.stack([i.tips for i in firsts]), np.stack([i.tips for i in seconds])
        miss_one, miss_two = self.misses(one), self.misses(two)
        by_sum = np.empty((len(one), len(two)))
        by_either = np.empty_like(by_sum)
        for a in range(len(one)):
            summed = self.misses(one[a] + two - self.healthy)
            least = np.minimum(miss_one[a], miss_two)
            by_either[a], by_sum[a] = np.minimum(least, summed).sum(axis=1), summed.sum(axis=1)
        allowed = self.meeting(firsts, seconds)
        rarity = self.rarity(firsts)[:, None] + self.rarity(seconds)
        by_sum, by_either = by_sum + rarity, by_either + rarity
        best = np.argsort(miss_one.sum(axis=1), kind="stable")[:BEST_FIRSTS]
        with_all = np.full_like(by_sum, np.inf)
        with_all[best] = by_either[best]
        rows, columns = _distinct(firsts), _distinct(seconds)
        chosen: dict[tuple[int, int], None] = {}
        for order, most in ((by_sum, BY_SUM), (by_either, BY_EITHER), (with_all, BEST_FIRSTS * len(seconds))):
            chosen |= dict.fromkeys(_lowest(np.where(allowed, order, np.inf), most, rows, columns))
        chosen |= dict.fromkeys(self.near(firsts, seconds, one, two, allowed))
        return list(chosen)

    def rarity(self, items: Sequence[Item]) -> Floats:
        """Return -2 ln of the priors of items, which counts like χ²."""
        return np.array([-2 * np.log([self.fault(k).prior for k in item.which]).sum() for item in items])

    def near(
        self, firsts: Sequence[Item], seconds: Sequence[Item], one: Floats, two: Floats, allowed: Bools
    ) -> list[tuple[int, int]]:
        """Return neighbours of which neither moves a reading by itself."""
        still_one: list[int] = np.flatnonzero((np.abs(one - self.healthy) < self.sigma).all(axis=1)).tolist()
        still_two: list[int] = np.flatnonzero((np.abs(two - self.healthy) < self.sigma).all(axis=1)).tolist()
        nets_one, nets_two = [self.nets(firsts[a]) for a in still_one], [self.nets(seconds[b]) for b in still_two]
        return [
            (a, b) for a, here in zip(still_one, nets_one, strict=True)
            for b, there in zip(still_two, nets_two, strict=True) if allowed[a, b] and here & there
        ][:NEAR]  # fmt: skip

    def nets(self, item: Item) -> frozenset[str]:
        """Return the nets, supplied ones and ground excepted, that the parts of an item's faults lie on."""
        circuit = self.found.desk.circuit
        places = set().union(*(self.fault(k).places for k in item.which))
        parts = [circuit.parts[place] for place in places if place in circuit.parts]
        stiff = {*circuit.grounds, *(supply.net for supply in circuit.supplies.values()), *circuit.rails}
        return frozenset({net for part in parts for net in part.pins.values()} | places) - stiff

    def meeting(self, firsts: Sequence[Item], seconds: Sequence[Item]) -> Bools:
        """Tell (a, b) which faults can be there at once; a pair is tried in one order."""
        number = np.array([item.which[0] for item in seconds])
        failed = [self.failed(k) for k in number]
        codes = {place: code for code, place in enumerate(dict.fromkeys(failed))}
        place = np.array([codes[each] for each in failed])
        allowed = np.ones((len(firsts), len(seconds)), dtype=np.bool_)
        for a, item in enumerate(firsts):
            for k in item.which:
                own = self.failed(k)
                allowed[a] &= number > k if len(item.which) == 1 else number != k
                if own:
                    allowed[a] &= place != codes.get(own, -1)
        return allowed

    def failed(self, number: int) -> str:
        """Return the part or supply that a fault makes fail as a whole; nothing for joints, copper and nets."""
        fault = self.fault(number)
        return fault.place if fault.kind in EXCLUSIVE else ""

    def joined(self, first: Item, second: Item) -> Named:
        """Return the branch of two items together, and its name."""
        pairs = [*zip(first.which, first.severities, strict=True), *zip(second.which, second.severities, strict=True)]
        patches = tuple(patch for k, at in pairs for patch in self.fault(k).patches(at))
        ordered = tuple(sorted(patches, key=lambda patch: not isinstance(patch, Move)))
        extra = {
            state: (*first.extra.get(state, ()), *second.extra.get(state, ()))
            for state in {*first.extra, *second.extra}
        }
        branch = Branch(0, 1.0, SubMode("", 1.0, None, lambda _: ordered), 1, extra, first.starts)
        return (*first.name, *second.name), branch


def _sorted(which: Sequence[int], severities: Sequence[float]) -> tuple[tuple[int, ...], tuple[float, ...]]:
    ordered = sorted(zip(which, severities, strict=True))
    return tuple(k for k, _ in ordered), tuple(at for _, at in ordered)


def _distinct(items: Sequence[Item]) -> Ints:
    """Return a number for each item, the same where the faults are the same."""
    numbers: dict[tuple[int, ...], int] = {}
    return np.array([numbers.setdefault(item.which, len(numbers)) for item in items])


def _at_other_severities(
    firsts: Sequence[Item], seconds: Sequence[Item], known: Iterable[tuple[int, int]], best: Iterable[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Return the best sets at all other severities of their faults: what each shows alone tells little of these."""
    one, two = _distinct(firsts), _distinct(seconds)
    found = {
        (int(x), int(y)): None
        for a, b in best for x in np.flatnonzero(one == one[a]) for y in np.flatnonzero(two == two[b])
    }  # fmt: skip
    done = set(known)
    return [each for each in found if each not in done]


def _lowest(values: Floats, most: int, rows: Ints, columns: Ints) -> list[tuple[int, int]]:
    """Return where a matrix has its lowest finite entries, one for each pair of a row's and a column's number."""
    flat = values.ravel()
    count = min(most * PLACES, int(np.isfinite(flat).sum()))
    lowest = np.argpartition(flat, count - 1)[:count] if count else np.zeros(0, dtype=np.int64)
    found: dict[tuple[int, int], tuple[int, int]] = {}
    for k in lowest[np.argsort(flat[lowest], kind="stable")].tolist():
        a, b = divmod(k, values.shape[1])
        found.setdefault((int(rows[a]), int(columns[b])), (a, b))
        if len(found) >= most:
            break
    return list(found.values())
