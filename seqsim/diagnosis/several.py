"""Several faults at once, searched for where no single one explains what was read.

The search is bounded: what single faults show tells which pairs are worth solving (each reading explained by one of
them, or by the sum of what they change), one fault stands for its look-alikes, and only leaders get their full
likelihood. A set is kept if it explains what no smaller one explains. Larger sets grow from the best pairs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.cells import Cell, Scored, cells_of, in_the_running, leading, rough_volts, score
from seqsim.diagnosis.grid import grid_cells, is_grid
from seqsim.diagnosis.hypotheses import LISTED_PRIOR, Hypothesis, Sort
from seqsim.diagnosis.killed import killed_by
from seqsim.diagnosis.posterior import posterior
from seqsim.diagnosis.predict import Branch, Predictions
from seqsim.diagnosis.steep import believed
from seqsim.diagnosis.table import COARSE_POINTS, Table
from seqsim.faults import Fault, SubMode
from seqsim.faults.together import EXCLUSIVE, SECOND, can_meet, name_of, prior_of, together
from seqsim.network import Move, Patch
from seqsim.network.network import Bools, Floats, Ints
from seqsim.readings.outcome import Zone
from seqsim.solver.state import State

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

UNEXPLAINED = 3.0
"""Standard deviations by which a reading must miss the best single fault."""
WORD_UNEXPLAINED = 0.05
"""The same for a word: the chance that it is read."""
OFTEN_SEVERAL = 0.5
"""Faults beside the first that a history must make likely for pairs to be searched whatever is explained."""
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
LEADERS = 15
"""Sets of look-alike groups that get their full likelihood."""
MOST_SETS = 80
"""Sets of faults, look-alikes told apart, that get it."""
MOST_FAULTS = 3
GROWN_FROM = 12
"""Pairs that larger sets grow from."""
ASTRAY = 25.0
"""χ² beyond which a reading counts as not explained at all."""
ROUGH_SHARE = 0.03
"""Spread that is assumed of every prediction while sets are searched, beside that of `cells.rough_volts`."""
BETTER = 1.0
"""Rough χ² by which a set must beat its parts to be looked at."""
GAIN = 2.0
"""Natural logarithm by which a set must explain the readings better than any smaller one within it."""
SAME_VOLTS = 0.05
"""Severities of one fault that read this much alike are tried once."""


Together = tuple[tuple[int, str], ...]
"""Look-alike groups of the faults of a set; a fault that looks healthy by itself stands for itself."""


@dataclass(frozen=True)
class Item:
    """Faults at fixed severities, and the tip volts (r,) that they give; ``which`` are numbers of hypotheses."""

    which: tuple[int, ...]
    severities: tuple[float, ...]
    tips: Floats
    extra: dict[str, tuple[Patch, ...]]
    starts: dict[str, State]


def with_sets(found: Diagnosis, table: Table, second: float = SECOND) -> Diagnosis:
    """Return a diagnosis that counts sets of faults too, where single ones leave something unexplained.

    Parameters
    ----------
    table
        What single faults show at the same readings.
    second
        Faults that a faulty board has on average besides its first.
    """
    if not second or not (second >= OFTEN_SEVERAL or leaves_open(found)):
        return found
    search = _Search(found, table, second)
    singles = search.singles()
    sets, wider = search.grown(singles, singles), found
    for size in range(2, MOST_FAULTS + 1):
        wider = search.weighed(wider, sets)
        if not sets or size == MOST_FAULTS or not leaves_open(wider):
            break
        sets = search.grown(sets[:GROWN_FROM], singles)
    return wider


def leaves_open(found: Diagnosis) -> bool:
    """Tell whether the best of healthy, listed faults and their sets leaves a reading unexplained."""
    known = [
        (found.posterior.probability[h], best) for h, best in found.posterior.best.items()
        if found.hypotheses[h].sort is not Sort.PLACE
    ]  # fmt: skip
    if not known:
        return True
    best = max(known, key=lambda each: each[0])[1]
    odd = len(best.fit.standard) and float(np.abs(best.fit.standard).max()) > UNEXPLAINED
    return bool(odd) or float(best.words.min(initial=0.0)) < np.log(WORD_UNEXPLAINED)


class _Search:
    """What the search goes by: readings, their rough spread, and one fault for each group of look-alikes."""

    def __init__(self, found: Diagnosis, table: Table, second: float) -> None:
        self.found = found
        self.second = second
        self.branches = [replace(branch, points=COARSE_POINTS) for branch in table.branches]
        self.coarse = coarse = table.coarse
        self.predictor = table.predictor
        noise = found.noise
        wide = np.diag(noise.covariance) + (ROUGH_SHARE * noise.observed) ** 2 + rough_volts(noise) ** 2
        self.sigma = np.sqrt(wide)
        self.faults = {k: h.fault for k, h in enumerate(found.hypotheses) if h.fault is not None}
        self.numbers = {h.name: k for k, h in enumerate(found.hypotheses)}
        healthy = np.flatnonzero((coarse.branch == 0) & coarse.good)
        self.healthy = coarse.tips[healthy[0]] if len(healthy) else np.zeros(len(found.measurements))

    def fault(self, number: int) -> Fault:
        """Return the fault of a listed hypothesis."""
        return self.faults[number]

    def singles(self) -> list[Item]:
        """Return one fault of each group, at the severities that read differently.

        Faults that look healthy by themselves may differ as soon as another comes along: each counts.
        """
        leaders: set[int] = set()
        for names in self.found.alike.members.values():
            listed = [self.numbers[name] for name in names if name and name in self.numbers]
            if "" in names:
                leaders.update(listed)
            elif listed:
                leaders.add(max(listed, key=lambda k: self.found.hypotheses[k].prior))
        seen: set[tuple[int, bytes]] = set()
        found = []
        for item in np.flatnonzero(self.coarse.good):
            branch = self.branches[self.coarse.branch[item]]
            if branch.hypothesis not in leaders:
                continue
            tips = self.coarse.tips[item]
            key = branch.hypothesis, np.round(tips / SAME_VOLTS).astype(np.int64).tobytes()
            if key not in seen:
                seen.add(key)
                severity = float(branch.severities[self.coarse.severity[item]])
                found.append(Item((branch.hypothesis,), (severity,), tips, dict(branch.extra), dict(branch.starts)))
        return found

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
                branch = joined[k]
                best[which] = Item(which, severities, tips[k], dict(branch.extra), dict(branch.starts))
        return list(best.values())

    def tried(
        self, firsts: Sequence[Item], seconds: Sequence[Item], chosen: Sequence[tuple[int, int]]
    ) -> tuple[list[Branch], Floats, Floats, Floats]:
        """Return sets, solved once, with their tips (s, r), χ² (s,) and what their rarity counts beside it (s,)."""
        joined = [self.joined(firsts[a], seconds[b]) for a, b in chosen]
        tips, good = self.solved(joined)
        chi = np.where(good, self.misses(tips).sum(axis=1), np.inf)
        one, two = self.rarity(firsts), self.rarity(seconds)
        return joined, tips, chi, np.array([one[a] + two[b] for a, b in chosen])

    def alone(self, items: Sequence[Item]) -> dict[tuple[int, ...], float]:
        """Return the least χ² of the faults of each item without any other."""
        best: dict[tuple[int, ...], float] = {}
        for item, chi in zip(items, self.misses(np.stack([item.tips for item in items])).sum(axis=1), strict=True):
            best[item.which] = min(best.get(item.which, np.inf), float(chi))
        return best

    def solved(self, branches: Sequence[Branch]) -> tuple[Floats, Bools]:
        """Return tips (b, r) of branches of one severity, and whether they are solved; the plain ones share more."""
        tips = np.zeros((len(branches), len(self.found.measurements)))
        good = np.zeros(len(branches), dtype=np.bool_)
        for extra in (False, True):
            mine = np.array([k for k, branch in enumerate(branches) if bool(branch.extra) is extra], dtype=np.int64)
            if not len(mine):
                continue
            predictions = self.predictor.nominal([branches[k] for k in mine])
            tips[mine], good[mine] = predictions.tips, predictions.good
        return tips, good

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

    def joined(self, first: Item, second: Item) -> Branch:
        """Return the branch of two items together."""
        pairs = [*zip(first.which, first.severities, strict=True), *zip(second.which, second.severities, strict=True)]
        patches = tuple(patch for k, at in pairs for patch in self.fault(k).patches(at))
        ordered = tuple(sorted(patches, key=lambda patch: not isinstance(patch, Move)))
        extra = {
            state: (*first.extra.get(state, ()), *second.extra.get(state, ()))
            for state in {*first.extra, *second.extra}
        }
        return Branch(0, 1.0, SubMode("", 1.0, None, lambda _: ordered), 1, extra, first.starts)

    def weighed(self, before: Diagnosis, items: Sequence[Item]) -> Diagnosis:
        """Return a diagnosis with the sets of these items, look-alikes told apart, by their full likelihood."""
        hypotheses, groups = self.hypotheses(items, before)
        if not hypotheses:
            return before
        branches, scored = self.scored(hypotheses)
        evidence = _evidence(hypotheses, branches, scored)
        known = {h.name: before.posterior.evidence[k] for k, h in enumerate(before.hypotheses)}
        kept = [
            k for k, h in enumerate(hypotheses)
            if evidence[k] > GAIN + max(known.get(name_of(part), -np.inf) for part in _smaller(h.faults))
        ]  # fmt: skip
        return _merged(before, [hypotheses[k] for k in kept], kept, branches, scored, groups)

    def hypotheses(self, items: Sequence[Item], before: Diagnosis) -> tuple[list[Hypothesis], dict[str, Together]]:
        """Return the sets of the best items and of their look-alikes, and the groups that each is made of."""
        hypotheses: list[Hypothesis] = []
        groups: dict[str, Together] = {}
        dead = killed_by(self.found.desk, [self.fault(k) for item in items[:LEADERS] for k in item.which])
        known = {h.name for h in before.hypotheses}
        for item in items[:LEADERS]:
            members = [self.alike(k) for k in item.which]
            for chosen in product(*members):
                faults = [self.fault(k) for k in sorted(chosen)]
                name = name_of(faults)
                if len(set(chosen)) < len(chosen) or name in known or not can_meet(faults):
                    continue
                if len(hypotheses) >= MOST_SETS:
                    return hypotheses, groups
                known.add(name)
                groups[name] = tuple(sorted(self.group(k) for k in chosen))
                hypotheses.append(_hypothesis(faults, max(prior_of(faults, self.second), dead.prior(faults))))
        return hypotheses, groups

    def group(self, number: int) -> tuple[int, str]:
        """Return the group of look-alikes of a fault; within that of a healthy board each fault is its own."""
        name = self.found.hypotheses[number].name
        group = self.found.alike.group[name]
        return group, name if "" in self.found.alike.members[group] else ""

    def alike(self, number: int) -> list[int]:
        """Return the look-alikes of a fault."""
        group, own = self.group(number)
        if own:
            return [number]
        return [self.numbers[name] for name in self.found.alike.members[group] if name in self.numbers]

    def scored(self, hypotheses: Sequence[Hypothesis]) -> tuple[list[Branch], list[Scored]]:
        """Return the branches of sets in the running, and the fits of their cells."""
        found, noise = self.found, self.found.noise
        table = Table.of(found.desk, hypotheses, (), found.measurements)
        chosen, _ = leading(table.coarse, noise, len(table.branches))
        predictions = table.fine(chosen)
        wanted, _ = leading(predictions, noise, len(table.branches))
        cells = list(_cells(predictions, table.branches, wanted, table.limits))
        spread = table.spread(in_the_running(cells, _numbered(table.branches, 1), noise))
        if found.calibration is not None:
            spread = tuple(found.calibration.applied(each) for each in spread)
        fits = score(
            [each.cell for each in spread], [believed(each.moves, noise) for each in spread], found.measurements,
            noise, found.slip, found.largest,
        )  # fmt: skip
        return table.branches, fits


def _hypothesis(faults: Sequence[Fault], prior: float) -> Hypothesis:
    places = tuple(dict.fromkeys(fault.place for fault in faults))
    return Hypothesis(
        name_of(faults), Sort.SEVERAL, " and ".join(places), frozenset().union(*(fault.places for fault in faults)),
        LISTED_PRIOR * prior, (together(faults),), None, tuple(faults),
    )  # fmt: skip


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


def _cells(predictions: Predictions, branches: Sequence[Branch], chosen: Ints, limits: Floats) -> Iterable[Cell]:
    """Yield cells: runs along one severity, or points of a grid of several."""
    line = np.array([k for k in chosen if not is_grid(branches[k])], dtype=np.int64)
    yield from cells_of(predictions, branches, line, limits)
    for k in chosen:
        if is_grid(branches[k]):
            yield from grid_cells(predictions, branches, int(k), limits)


def _numbered(branches: Sequence[Branch], first: int) -> list[Branch]:
    """Return branches whose hypotheses are numbered from ``first``."""
    return [replace(branch, hypothesis=branch.hypothesis + first) for branch in branches]


def _smaller(faults: Sequence[Fault]) -> list[list[Fault]]:
    """Return what is left of a set without each one of its faults."""
    return [[other for other in faults if other is not fault] for fault in faults]


def _evidence(hypotheses: Sequence[Hypothesis], branches: Sequence[Branch], scored: Sequence[Scored]) -> Floats:
    evidence = np.full(len(hypotheses), -np.inf)
    for each in scored:
        h = branches[each.cell.branch].hypothesis
        evidence[h] = np.logaddexp(evidence[h], each.log + np.log(each.cell.weight))
    return evidence


def _merged(
    before: Diagnosis, hypotheses: Sequence[Hypothesis], kept: Sequence[int], branches: Sequence[Branch],
    scored: Sequence[Scored], groups: dict[str, Together],
) -> Diagnosis:  # fmt: skip
    """Return a diagnosis to which sets are added; ``kept`` are their numbers in ``branches``."""
    first, offset = len(before.hypotheses), len(before.branches)
    number = {old: first + new for new, old in enumerate(kept)}
    mine = [each for each in scored if branches[each.cell.branch].hypothesis in number]
    fits = [replace(each, cell=replace(each.cell, branch=each.cell.branch + offset)) for each in mine]
    added = [replace(branch, hypothesis=number.get(branch.hypothesis, -1)) for branch in branches]
    everything = (*before.hypotheses, *hypotheses)
    together_ = (*before.branches, *added)
    all_fits = (*before.scored, *fits)
    weighed = posterior(everything, together_, all_fits, before.noise, before.slip)
    return replace(
        before, hypotheses=everything, branches=together_, scored=all_fits, posterior=weighed,
        alike=_wider(before.alike, hypotheses, groups),
    )  # fmt: skip


def _wider(alike: Alike, hypotheses: Sequence[Hypothesis], groups: dict[str, Together]) -> Alike:
    """Return look-alikes with those of sets: sets are alike whose faults are alike one by one."""
    members: dict[Together, list[str]] = {}
    for h in hypotheses:
        members.setdefault(groups[h.name], []).append(h.name)
    first = max(alike.members, default=-1) + 1
    return Alike.of({**alike.members, **{first + k: tuple(names) for k, names in enumerate(members.values())}})
