"""The boards that a doubtful drawing may mean, and how well each explains the readings.

Doubts are hypotheses like faults: each answer has a prior, and the readings weigh it. The evidence for a board is the
likelihood of all readings summed over its faults; here it is worked out roughly, to find the few boards that deserve
the whole diagnosis.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from seqsim.circuit import Circuit, resolve_place
from seqsim.circuit.doubts import About, Answer, Doubt, answered, value_doubts
from seqsim.diagnosis.rough_evidence import Seen, seen
from seqsim.network.network import Floats
from seqsim.readings import Readings
from seqsim.readings.interventions import Intervention

MOST_ALTERNATIVES = 120
"""Boards that are weighed at most; with more combinations the doubts are taken in one after the other."""
VALUE_POINTS = (8, 5, 3)
"""Parts of the range of unknown resistors, for one of them, two, and more."""
BASES, ROUNDS = 4, 3
"""Where not all are weighed: the likeliest drawings that are, with all that differ from them in one answer, and how
often these are found anew among what was weighed so far."""
PROBED = frozenset({"volts", "ohms", "diode", "continuity"})
"""Kinds of readings that touch a place; what else was read may concern the whole board."""
Key = tuple[tuple[str, str], ...]
ORDER = (About.KIND, About.CONTACT, About.UPSTREAM, About.VALUE)


@dataclass(frozen=True)
class Alternative:
    """One way to read the drawing: an answer for each doubt, by name, the logarithm of its prior, and what is seen.

    ``renamed`` maps pins of the circuit as it was read to those of this board.
    """

    chosen: Mapping[str, Answer]
    log_prior: float = 0.0
    seen: Seen = field(default_factory=Seen)
    renamed: Mapping[str, str] = field(default_factory=dict)

    @property
    def key(self) -> Key:
        """What tells it from others: the labels of its answers."""
        return tuple(sorted((name, answer.label) for name, answer in self.chosen.items()))

    @property
    def log_weight(self) -> float:
        """Logarithm of what it weighs beside the others."""
        return self.log_prior + self.seen.log_evidence

    def circuit(self, circuit: Circuit) -> Circuit:
        """Return the board itself."""
        return answered(circuit, self.chosen)

    def readings(self, readings: Readings) -> Readings:
        """Return the readings with the names that pins have on this board."""
        if not self.renamed:
            return readings
        return readings.model_copy(
            update={
                "readings": tuple(_renamed(reading, self.renamed) for reading in readings.readings),
                "seen": tuple(replace(each, place=_place(each.place, self.renamed)) for each in readings.seen),
            }
        )

    def also(self, doubt: Doubt, answer: Answer) -> Alternative:
        """Return the drawing with the answer to one more doubt, what is seen left as it was."""
        return Alternative(
            {**self.chosen, doubt.name: answer},
            self.log_prior + math.log(answer.prior),
            self.seen,
            {**self.renamed, **answer.renamed},
        )

    def beside(self, doubt: Doubt) -> Iterator[Alternative]:
        """Yield the drawings that differ from this one in the answer to one doubt alone, not yet weighed."""
        mine = self.chosen[doubt.name]
        for answer in doubt.answers:
            if answer.label != mine.label:
                chosen = {**self.chosen, doubt.name: answer}
                prior = self.log_prior + math.log(answer.prior) - math.log(mine.prior)
                renamed = {old: new for each in chosen.values() for old, new in each.renamed.items()}
                yield Alternative(chosen, prior, Seen(), renamed)


@dataclass(frozen=True)
class Weighed:
    """Drawings, likeliest first, and what each weighs, shape (n,), one in all.

    Where not all were weighed, ``bases`` are the numbers of likely ones of which all that differ in one answer were
    weighed, too. Doubts in ``apart`` concern nothing that was read; they stand at their first answers.
    """

    found: tuple[Alternative, ...]
    shares: Floats
    bases: tuple[int, ...] = ()
    apart: frozenset[str] = frozenset()

    @classmethod
    def of(
        cls, found: Iterable[Alternative], bases: Collection[Key] = (), apart: frozenset[str] = frozenset()
    ) -> Weighed:
        """Return drawings by their own weights."""
        ordered = tuple(sorted(found, key=lambda each: -each.log_weight))
        logs = np.array([each.log_weight for each in ordered])
        share = np.exp(logs - logs.max())
        at = tuple(k for k, each in enumerate(ordered) if each.key in bases)
        return cls(ordered, np.asarray(share / share.sum()), at, apart)

    def about(self, doubt: Doubt) -> Weighed:
        """Return the drawings by which to judge the answers to a doubt.

        Where not all were weighed, the other doubts are taken as they stand in each of the likeliest drawings: what was
        left out would otherwise make the answers of these surer than they are.
        """
        if not self.bases:
            return self
        families: dict[Key, list[int]] = {}
        for k, each in enumerate(self.found):
            families.setdefault(tuple(item for item in each.key if item[0] != doubt.name), []).append(k)
        share = np.zeros(len(self.found))
        for k in self.bases:
            mine = families[tuple(item for item in self.found[k].key if item[0] != doubt.name)]
            logs = np.array([self.found[m].log_weight for m in mine])
            part = np.exp(logs - logs.max())
            share[mine] += self.shares[k] * part / part.sum()
        kept = np.flatnonzero(share > 0)
        return Weighed(tuple(self.found[k] for k in kept), share[kept] / share.sum())


def doubts_of(circuit: Circuit) -> tuple[Doubt, ...]:
    """Return all doubts about a drawing, resistors of unknown value included."""
    unknown = sum(doubt.about is About.VALUE for doubt in value_doubts(circuit, 1))
    points = VALUE_POINTS[min(max(unknown, 1), len(VALUE_POINTS)) - 1]
    found = (*circuit.doubts, *value_doubts(circuit, points))
    return tuple(sorted(found, key=lambda doubt: ORDER.index(doubt.about)))


def weighed(circuit: Circuit, readings: Readings, most: int = MOST_ALTERNATIVES) -> Weighed:
    """Return the boards that the drawing may mean, likeliest first, each with its rough evidence.

    All combinations are weighed where they are few; else doubts are taken in one after the other, and of each round the
    likeliest are kept, and then all that differ from the likeliest in one answer.
    """
    every = doubts_of(circuit)
    apart = _apart(circuit, readings, every)
    doubts = [doubt for doubt in every if doubt.name not in apart]
    start = Alternative({doubt.name: doubt.answers[0] for doubt in every if doubt.name in apart})
    open_ended = bool(open_ends(circuit))

    def see(each: Alternative) -> Alternative:
        evidence = seen(each.circuit(circuit), each.readings(readings), open_ended=open_ended)
        return replace(each, seen=evidence)

    if math.prod(len(doubt.answers) for doubt in doubts) <= most:
        found = [start]
        for doubt in doubts:
            found = [each.also(doubt, answer) for each in found for answer in doubt.answers]
        return Weighed.of(map(see, found), apart=apart)
    found = _grown(start, doubts, see, most, weigh=bool(readings.readings))
    known = {each.key: each for each in found}
    for _ in range(ROUNDS):
        bases = sorted(known.values(), key=lambda each: -each.log_weight)[:BASES]
        fresh = {new.key: new for base in bases for doubt in doubts for new in base.beside(doubt)}
        fresh = {key: see(new) for key, new in fresh.items() if key not in known}
        if not fresh:
            break
        known |= fresh
    return Weighed.of(known.values(), {base.key for base in bases}, apart)


def _grown(
    start: Alternative, doubts: Sequence[Doubt], see: Callable[[Alternative], Alternative], most: int, *, weigh: bool
) -> list[Alternative]:
    """Return the likeliest combinations, answers of one doubt after the other; ``weigh`` lets readings choose."""
    found = [start]
    keep = max(most // (len(doubts) * max(len(doubt.answers) for doubt in doubts)), BASES)
    for doubt in doubts:
        found = [each.also(doubt, answer) for each in found for answer in doubt.answers]
        last = doubt is doubts[-1]
        if weigh or last:
            found = [see(each) for each in found]
        found.sort(key=lambda each: -each.log_weight)
        if not last:
            found = found[:keep]
    return found


def _apart(circuit: Circuit, readings: Readings, doubts: Sequence[Doubt]) -> frozenset[str]:
    """Return the doubts about what no part joins, rails apart, to the target or to anything that was read."""
    if any(reading.kind not in PROBED for reading in readings.readings):
        return frozenset()
    rails = {*circuit.grounds, *(supply.net for supply in circuit.supplies.values())}
    joined: dict[str, set[str]] = {}
    for name, part in circuit.parts.items():
        joined[name] = {net for net in part.pins.values() if net not in rails}
        for net in joined[name]:
            joined.setdefault(net, set()).add(name)
    places = [place for each in readings.readings for place in (each.place, each.to) if place is not None]
    places += [each.place for each in readings.seen]
    reached = {resolve_place(circuit, place).net for place in places} | {circuit.target or ""}
    reached &= joined.keys()
    if not reached:
        return frozenset()
    todo = list(reached)
    while todo:
        fresh = joined[todo.pop()] - reached
        reached |= fresh
        todo += fresh
    about = {doubt.name: _concerned(circuit, doubt) for doubt in doubts}
    return frozenset(name for name, nodes in about.items() if any(n in joined for n in nodes) and not nodes & reached)


def _concerned(circuit: Circuit, doubt: Doubt) -> set[str]:
    """Return the part or the nets that a doubt is about."""
    if doubt.about is About.CONTACT:
        return {net for each in doubt.answers for net in each.apart.values()} | {
            circuit.pins()[pin] for each in doubt.answers for pin in each.apart
        }
    return {doubt.name if doubt.about is About.UPSTREAM else doubt.place}


def open_ends(circuit: Circuit) -> tuple[str, ...]:
    """Return the nets behind which something is not traced."""
    return tuple(doubt.name for doubt in circuit.doubts if doubt.about is About.UPSTREAM)


def _renamed(reading: object, names: Mapping[str, str]) -> object:
    """Return a reading, or what is done for it, with other names of pins."""
    update = {}
    for name in type(reading).model_fields:  # type: ignore[attr-defined]
        value = getattr(reading, name)
        if isinstance(value, str):
            new: object = _place(value, names)
        elif isinstance(value, tuple) and any(isinstance(item, Intervention) for item in value):
            new = tuple(_renamed(item, names) for item in value)
        else:
            continue
        if new != value and name not in ("text", "note", "file"):
            update[name] = new
    return reading.model_copy(update=update) if update else reading  # type: ignore[attr-defined]


def _place(text: str, names: Mapping[str, str]) -> str:
    pin, slash, rest = text.partition("/")
    return names.get(pin, pin) + slash + rest
