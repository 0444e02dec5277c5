"""Boards as the ranking's own priors would send them to a bench, read as a technician reads, and what is then claimed.

A board is healthy, has a fault of the list, something at a place, or what neither foresees, each as often as the priors
say. It is read at places drawn at random, the target first; now and then a reading is a slip.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from kept_rows import Row
from measured_boards import Boards, chain_probes, desk_of, displayed, drawn_network, seen
from part_table import Universe
from unlisted_faults import SORTS, Broken, Unlisted

from seqsim.circuit import Circuit
from seqsim.diagnosis import Diagnosis, diagnose
from seqsim.diagnosis.hypotheses import HEALTHY_PRIOR, LISTED_PRIOR, NONE_PRIOR, PLACE_PRIOR, Hypothesis, Sort
from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.rank import table_of
from seqsim.diagnosis.report import where_of
from seqsim.diagnosis.result import Where
from seqsim.network import vary
from seqsim.readings import Reading, Readings

FEWEST, MOST = 2, 12
"""Readings of a board."""
PREFIX = 1e3
"""A slip of the prefix: millivolts for volts, kilohms for ohms, or the other way round."""
SHARES = {"healthy": HEALTHY_PRIOR, "listed": LISTED_PRIOR, "place": PLACE_PRIOR, "none": NONE_PRIOR}


@dataclass(frozen=True)
class Claim:
    """An entry of `where`: what was claimed with which chance, and whether the fault is there.

    ``sort`` is that of the entry: ``group``, ``healthy``, ``place`` or ``several``; ``none`` is none of these.
    """

    sort: str
    probability: float
    right: bool


@dataclass(frozen=True)
class Ranked:
    """One ranking of one board: after so many readings, with so many slips among them."""

    board: str | int
    truth: str
    name: str
    readings: int
    slips: int
    claims: tuple[Claim, ...]

    def to_row(self) -> Row:
        """Return the ranking as plain values."""
        return {
            "board": self.board, "truth": self.truth, "name": self.name, "readings": self.readings,
            "slips": self.slips, "claims": [[c.sort, round(c.probability, 6), c.right] for c in self.claims],
        }  # fmt: skip

    @classmethod
    def from_row(cls, row: Row, board: str) -> Ranked:
        """Return the ranking of a row, its board under a name of its own."""
        told = tuple(Claim(sort, chance, right) for sort, chance, right in row["claims"])
        return cls(board, row["truth"], row["name"], row["readings"], row["slips"], told)

    @property
    def brier(self) -> float:
        """Return the Brier score over all claims (Brier, Monthly Weather Review 78 (1950) 1; from memory)."""
        return sum((claim.probability - claim.right) ** 2 for claim in self.claims)


class Bench:
    """One circuit with what all its boards share."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.boards = Boards(circuit, chain_probes(circuit))
        self.universe = Universe(self.boards.desk, self.boards.measurements, table_of)
        self.table = self.universe.table
        self.listed = [h for h in self.table.hypotheses if h.sort is Sort.LISTED]
        self.places = [h for h in self.table.hypotheses if h.sort is Sort.PLACE]
        self.healthy = self.table.hypotheses[0]
        self.unlisted = Unlisted(circuit, self.listed)

    def broken(self, random: np.random.Generator) -> Broken:
        """Return what is broken on the next board."""
        sort = str(random.choice(list(SHARES), p=list(SHARES.values())))
        if sort == "none":
            return self._outside(random)
        if sort == "healthy":
            return Broken(sort, "", (), frozenset())
        many = self.listed if sort == "listed" else self.places
        prior = np.array([h.prior for h in many])
        chosen = many[int(random.choice(len(many), p=prior / prior.sum()))]
        return self._with(sort, chosen, random)

    def _with(self, sort: str, chosen: Hypothesis, random: np.random.Generator) -> Broken:
        weight = np.array([mode.weight for mode in chosen.modes])
        mode = chosen.modes[int(random.choice(len(weight), p=weight / weight.sum()))]
        at = 1.0 if mode.severity is None else float(random.choice(mode.severity.points(501)))
        return Broken(sort, chosen.name, mode.patches(at), chosen.places)

    def _outside(self, random: np.random.Generator) -> Broken:
        while True:
            found = self.unlisted.draw(str(random.choice(SORTS)), random)
            if found is not None:
                return found

    def read(
        self, broken: Broken, random: np.random.Generator, *, fewest: int = FEWEST
    ) -> tuple[list[int], tuple[Reading, ...], list[bool]] | None:
        """Return the columns that are read in their order, what is shown, and which are slips; None if not steady."""
        at = desk_of(self.circuit, drawn_network(self.boards.network, random, shifted=True))
        found = seen(at, [vary(at.network, broken.patches)], self.boards.measurements)
        if not found.good[0]:
            return None
        shown = displayed(self.boards.probes, self.boards.measurements, found.tips[0], random)
        order = self.order(random, fewest)
        slipped = [bool(random.random() < SLIP) for _ in order]
        taken = tuple(self.slip(k, shown, random) if slip else shown[k] for k, slip in zip(order, slipped, strict=True))
        return order, taken, slipped

    def order(self, random: np.random.Generator, fewest: int = FEWEST) -> list[int]:
        """Return the columns that are read: the target in the last power state, then any."""
        probes = self.boards.probes
        last = list(self.circuit.power_states)[-1]
        first = [k for k, p in enumerate(probes) if (p.place, p.state, p.kind) == (self.circuit.target, last, "volts")]
        others = [int(k) for k in random.permutation(len(probes)) if k not in first]
        return [*first, *others][: int(random.integers(fewest, MOST + 1))]

    def slip(self, k: int, shown: tuple[Reading, ...], random: np.random.Generator) -> Reading:
        """Return a reading as a slip has it: another place was touched, or the prefix is wrong."""
        own = shown[k]
        others = [each for each in shown if each.kind == own.kind and each.place != own.place]
        if isinstance(own.value, float) and own.value and (not others or random.random() < 0.5):
            factor = PREFIX if abs(own.value) < 1 else 1 / PREFIX
            digit = None if own.resolution is None else own.resolution * factor
            return own.model_copy(update={"value": own.value * factor, "resolution": digit})
        if not others:
            return own
        other = others[int(random.integers(len(others)))]
        return own.model_copy(update={"value": other.value, "resolution": other.resolution})

    def ranked(self, number: int, random: np.random.Generator, *, each: bool = True) -> Iterator[Ranked]:
        """Draw a board and yield its rankings after ``each`` reading, or after the last."""
        taken = None
        while taken is None:
            broken = self.broken(random)
            taken = self.read(broken, random)
        columns, readings, slipped = taken
        for count in range(1 if each else len(columns), len(columns) + 1):
            found = self.diagnosed(columns[:count], readings[:count])
            yield Ranked(number, broken.sort, broken.name, count, sum(slipped[:count]), claims(found, broken))

    def diagnosed(self, columns: Sequence[int], readings: Sequence[Reading]) -> Diagnosis:
        """Return the diagnosis of readings at some of the places."""
        part = self.universe.part([self.boards.measurements[k] for k in columns])
        taken = Readings(readings=tuple(readings))
        return diagnose(self.circuit, taken, at=self.boards.desk, table=part)


def claims(found: Diagnosis, broken: Broken) -> tuple[Claim, ...]:
    """Return what a ranking claims.

    Entries exclude each other, so that one claim of a board comes true. A fault of the list, or a healthy board, is in
    its group of look-alikes and nowhere else, though other entries may name its place; "something at a place" in the
    first group that names it; what the list lacks in the likeliest entry that names a place of it, and in none of these
    where no entry does.
    """
    names = {h.name: h for h in found.hypotheses}
    where = where_of(found)
    if broken.sort in ("healthy", "listed"):
        right = [each.group == found.alike.group[broken.name] for each in where]
    elif broken.sort == "place":
        place = broken.name.partition(":")[0]
        naming = sorted((k for k, each in enumerate(where) if place in each.places), key=_order(found, where))
        right = [k in naming[:1] for k in range(len(where))]
    else:
        named = [k for k, each in enumerate(where) if broken.places & set(each.places)]
        right = [k in named[:1] for k in range(len(where))]
    foreseen = broken.sort in ("healthy", "listed", "place") or any(right)
    entries = [Claim(_sort(each, found, names), each.probability, r) for each, r in zip(where, right, strict=True)]
    return (*entries, Claim("none", found.posterior.none, not foreseen))


def _order(found: Diagnosis, where: Sequence[Where]) -> Callable[[int], float]:
    """Return the order in which entries take what is wrong at their places: likelier groups first, places last."""
    total: dict[int, float] = {}
    for h, p in zip(found.hypotheses, found.posterior.probability, strict=True):
        if h.sort is not Sort.PLACE:
            group = found.alike.group[h.name]
            total[group] = total.get(group, 0.0) + float(p)
    return lambda k: -total.get(where[k].group, -1.0)


def _sort(each: Where, found: Diagnosis, names: Mapping[str, Hypothesis]) -> str:
    if each.group < 0:
        return "place"
    members = found.alike.members[each.group]
    if "" in members:
        return "healthy"
    return "several" if names[members[0]].sort is Sort.SEVERAL else "group"
