"""What to trace next: the doubt whose answer would tell most about the target's level, and about where the fault is.

Both are entropies over the drawings that the notes may mean, in bits: of the target's level on the healthy board (low,
between, high) and of the place of the fault, each less what is left on average once a doubt is answered. Where nothing
that is traced is broken, the fault lies beyond an end that decides the target's level; tracing on from there splits it
up among the places of the next stage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from seqsim.circuit import Circuit
from seqsim.circuit.doubts import About, Doubt
from seqsim.diagnosis.alternatives import Alternative, Weighed
from seqsim.faults import off_caution
from seqsim.network.network import Floats

LOW_SHARE, HIGH_SHARE = 0.3, 0.7
"""A level is low or high by its share of the highest that the drawings allow, as for readings in words."""
LEAST_BITS = 0.005
STAGE_PLACES = 8
"""Places among which a fault beyond an end is as yet undivided: parts, pins and nets of a stage (our judgement)."""


@dataclass(frozen=True, slots=True)
class Step:
    """A doubt to look into: what to do, and what it tells in bits about the target's level and the fault's place."""

    name: str
    place: str
    action: str
    level_bits: float
    place_bits: float
    caution: str

    @property
    def bits(self) -> float:
        """What it tells in all."""
        return self.level_bits + self.place_bits

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "name": self.name, "place": self.place, "action": self.action, "level_bits": self.level_bits,
            "place_bits": self.place_bits, "caution": self.caution,
        }  # fmt: skip


def steps(circuit: Circuit, doubts: Sequence[Doubt], weighed: Weighed) -> tuple[Step, ...]:
    """Return what can be traced or looked up, what tells most first; what would tell nothing is left out.

    Parameters
    ----------
    circuit
        The board as it was read.
    doubts
        Its doubts.
    weighed
        The drawings that it may be.
    """
    highest = max((abs(each.seen.target) for each in weighed.found if each.seen.target is not None), default=0.0)
    result = []
    behind = _behind(doubts, weighed, highest)
    for doubt in doubts:
        if doubt.name in weighed.apart:
            continue
        about = weighed.about(doubt)
        answers = [each.chosen[doubt.name].label for each in about.found]
        level = _told([{_level(each, highest): 1.0} for each in about.found], answers, about.shares)
        place = _told([each.seen.places for each in about.found], answers, about.shares)
        place += behind.get(doubt.name, 0.0) * math.log2(STAGE_PLACES)
        if level + place >= LEAST_BITS:
            result.append(Step(doubt.name, doubt.place, action(doubt), level, place, off_caution(circuit)))
    return tuple(sorted(result, key=lambda step: -step.bits))


def _behind(doubts: Sequence[Doubt], weighed: Weighed, highest: float) -> dict[str, float]:
    """Return for each open end the chance that the fault lies beyond it.

    That nothing traced is broken counts for the ends whose other answers would turn the target's level, all else being
    equal; for all ends alike where none would.
    """
    ends = [doubt.name for doubt in doubts if doubt.about is About.UPSTREAM and doubt.name not in weighed.apart]
    chance = dict.fromkeys(ends, 0.0)
    seen: dict[tuple[str, tuple[tuple[str, str], ...]], set[str]] = {}
    keys = [{end: (end, tuple(item for item in each.key if item[0] != end)) for end in ends} for each in weighed.found]
    for mine, each in zip(keys, weighed.found, strict=True):
        for key in mine.values():
            seen.setdefault(key, set()).add(_level(each, highest))
    judged = weighed.bases or range(len(weighed.found))
    total = sum(float(weighed.shares[k]) for k in judged)
    for k in judged:
        each, mine, share = weighed.found[k], keys[k], float(weighed.shares[k]) / total
        sound = each.seen.places.get("", 0.0) if each.seen.places else 1.0
        deciding = [end for end in ends if len(seen[mine[end]]) > 1] or ends
        for end in deciding:
            chance[end] += share * sound / len(deciding)
    return chance


def entropy(chances: Mapping[str, float]) -> float:
    """Return the entropy of a distribution, in bits; it need not be normalised."""
    total = sum(chances.values())
    return -sum(p / total * math.log2(p / total) for p in chances.values() if p > 0) if total > 0 else 0.0


def _told(what: Sequence[Mapping[str, float]], answers: Sequence[str], shares: Floats) -> float:
    """Return the mutual information, in bits, between an answer and what each drawing makes of something."""
    whole: dict[str, float] = {}
    parts: dict[str, dict[str, float]] = {}
    weight: dict[str, float] = {}
    for each, answer, share in zip(what, answers, shares.tolist(), strict=True):
        total = sum(each.values())
        if total <= 0:
            continue
        weight[answer] = weight.get(answer, 0.0) + share
        mine = parts.setdefault(answer, {})
        for label, p in each.items():
            whole[label] = whole.get(label, 0.0) + share * p / total
            mine[label] = mine.get(label, 0.0) + share * p / total
    mass = sum(weight.values())
    if mass <= 0:
        return 0.0
    left = sum(weight[answer] / mass * entropy(part) for answer, part in parts.items())
    told = entropy(whole) - left
    return told if told > 0 else 0.0


def _level(each: Alternative, highest: float) -> str:
    """Return the target's level on a drawing as low, between or high, by the highest of all drawings (V)."""
    volts = each.seen.target
    if volts is None or highest <= 0 or volts < LOW_SHARE * highest:
        return "low"
    return "high" if volts > HIGH_SHARE * highest else "between"


def action(doubt: Doubt) -> str:
    """Return what a technician does about a doubt."""
    match doubt.about:
        case About.UPSTREAM:
            if doubt.held:
                net = doubt.name
                return f"find what else lies on {net}: only {doubt.held} holds it; if nothing does, note: {net} done"
            if "." in doubt.place:
                return f"trace on from {doubt.place}: what drives it?"
            return f"find what else lies on {doubt.place}, and what drives it"
        case About.KIND:
            return f"find out what {doubt.place} is: its marking, or the diode test between its legs"
        case About.VALUE:
            return f"read or measure the value of {doubt.place}, one end lifted if it reads too low"
    return f"measure {doubt.name} again, tips on the metal"
