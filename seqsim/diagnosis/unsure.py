"""Ranking a board whose drawing is not certain: each likely drawing is diagnosed whole, and the rankings are mixed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from seqsim.circuit import Circuit
from seqsim.circuit.doubts import Doubt
from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.alternatives import (
    Alternative,
    Weighed,
    doubts_of,
    open_ends,
    weighed,
)
from seqsim.diagnosis.contacts import unexpected_contacts
from seqsim.diagnosis.mixture import beyond_places, first_names, mix
from seqsim.diagnosis.rank import Diagnosis, diagnose
from seqsim.diagnosis.report import ranking
from seqsim.diagnosis.result import Ranking
from seqsim.diagnosis.rough_evidence import SOUND_SHARE, beyond
from seqsim.diagnosis.tracing import Step, steps
from seqsim.quantity import Unit
from seqsim.readings import KINDS, Readings, format_reading

if TYPE_CHECKING:
    from rich.console import RenderableType

MOST_DIAGNOSED = 4
"""Drawings that get a whole diagnosis, the likeliest ones."""
LEAST_WEIGHT = 0.02
"""Drawings that weigh less than this beside the likeliest are left to their rough weight."""
LEAST_CHANCE = 1e-6
"""Chance below which what was seen over time counts no further against a drawing: a wrong note is likelier."""
TAIL = 0.05
"""Share that the range of an unknown value leaves out on either side."""
TELLS = 0.1
"""Share of the distance between what two drawings expect of a reading by which it must be nearer to one of them."""


@dataclass(frozen=True, slots=True)
class Believed:
    """What is believed about a doubt: answers with probabilities, likeliest first, and the reading that says so.

    ``span`` is the range of an unknown value outside which there is a twentieth on either side.
    """

    doubt: Doubt
    answers: tuple[tuple[str, float], ...]
    because: str = ""
    span: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "name": self.doubt.name, "about": self.doubt.about.value, "place": self.doubt.place,
            "question": self.doubt.question, "line": self.doubt.line,
            "answers": [{"answer": label, "probability": share} for label, share in self.answers],
            "because": self.because, "span": self.span,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class UnsureRanking(Ranking):
    """A ranking over several drawings: ``unknowns`` says what is believed of each doubt, ``trace`` what to trace next.

    ``assumed`` is what was taken for granted; ``weighed`` counts the drawings, ``diagnosed`` those in the mixture.
    """

    unknowns: tuple[Believed, ...] = ()
    trace: tuple[Step, ...] = ()
    assumed: tuple[str, ...] = ()
    weighed: int = 1
    diagnosed: int = 1
    open_ends: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``rank``, and those of an uncertain drawing."""
        plain = Ranking.to_dict(self)
        if self.open_ends:
            ends = " or ".join(self.open_ends) if len(self.open_ends) < 4 else "what is traced"
            for hypothesis in plain["hypotheses"]:
                if not hypothesis["faults"]:
                    hypothesis["told"] = f"nothing that is traced is broken: what matters lies beyond {ends}"
        return {
            **plain,
            "unknowns": [each.to_dict() for each in self.unknowns],
            "trace": [each.to_dict() for each in self.trace],
            "assumed": list(self.assumed),
            "drawings": {"weighed": self.weighed, "diagnosed": self.diagnosed},
        }

    def renderable(self) -> RenderableType:
        """Return the ranking for people, with what it assumed."""
        from seqsim.wording.notes import unsure_text
        from seqsim.wording.ranking import ranking_text
        from seqsim.wording.tables import stack

        shown = self.to_dict()
        return stack(unsure_text(shown), "", ranking_text(shown))


def believe(circuit: Circuit, readings: Readings) -> tuple[tuple[Believed, ...], tuple[Step, ...], int]:
    """Return what is believed of each doubt, what to trace next, and how many drawings were weighed.

    It rests on rough weights alone, so that it is there after every line; without readings on the priors.
    """
    found = weighed(circuit, readings)
    doubts = doubts_of(circuit)
    told = tuple(_believed(doubt, found, readings) for doubt in doubts)
    return told, steps(circuit, doubts, found), len(found.found)


def rank_unsure(circuit: Circuit, readings: Readings) -> UnsureRanking:
    """Return the ranking of a board with doubts: the mixture over the drawings that it may be.

    The likeliest drawings are diagnosed whole, and weigh what their readings say; the rest stays out, and with it a
    share that the rough weights put below some hundredths.
    """
    rough = weighed(circuit, readings)
    found, share = rough.found, rough.shares
    kept = [k for k in range(min(MOST_DIAGNOSED, len(found))) if share[k] >= LEAST_WEIGHT * share[0]]
    told: list[Ranking] = []
    logs: list[float] = []
    groups: dict[str, int] = {}
    ends = open_ends(circuit)
    for k in kept:
        each = found[k]
        board, taken = each.circuit(circuit), each.readings(readings)
        ranked, log = _diagnosed(board, taken, groups, open_ended=bool(ends))
        told.append(first_names(ranked, each.renamed))
        logs.append(each.log_prior + log)
    whole = np.exp(np.array(logs) - max(logs))
    mixed = beyond_places(mix(told, whole / whole.sum()), ends)
    # what is believed rests on the whole diagnoses where there are any, on rough weights for the rest
    fresh = share.copy()
    fresh[kept] = share[kept].sum() * whole / whole.sum()
    believed = replace(rough, shares=fresh)
    doubts = doubts_of(circuit)
    return UnsureRanking(
        **{each.name: getattr(mixed, each.name) for each in fields(mixed)},
        unknowns=tuple(_believed(doubt, believed, readings) for doubt in doubts),
        trace=steps(circuit, doubts, believed),
        assumed=(*circuit.assumed, *unexpected_contacts(circuit, readings)),
        open_ends=ends,
        weighed=len(found),
        diagnosed=len(kept),
    )


def _diagnosed(
    circuit: Circuit, readings: Readings, known: dict[str, int], *, open_ended: bool
) -> tuple[Ranking, float]:
    """Return the ranking of one drawing and the logarithm of its evidence.

    ``known`` has the groups of look-alikes by name; those of the first drawing are worked out, and it grows by what
    another has by itself: look-alikes among what a part could only have if it were something unlikely are not worth
    their time.
    """
    factors = beyond(circuit)
    found = diagnose(circuit, readings, factors=factors or None, alike=Alike.of(_members(known)) if known else None)
    known.update(found.alike.group)
    if open_ended:
        found = with_sound_share(found, SOUND_SHARE)
    if readings.seen:
        from seqsim.diagnosis.over_time import told_over_time

        told, chance = told_over_time(found, readings)
    else:
        told, chance = ranking(found, readings.readings), 1.0
    # that ends have no faults of their own is no history of the board
    history = tuple(each for each in told.history if each.key not in factors)
    return replace(told, history=history), _log_evidence(found) + math.log(max(chance, LEAST_CHANCE))


def with_sound_share(found: Diagnosis, share: float) -> Diagnosis:
    """Return a diagnosis with another prior for a board on which nothing is broken."""
    rest = sum(hypothesis.prior for hypothesis in found.hypotheses[1:])
    scale = (1 - share) / rest
    hypotheses = (
        replace(found.hypotheses[0], prior=share),
        *(replace(hypothesis, prior=hypothesis.prior * scale) for hypothesis in found.hypotheses[1:]),
    )
    before = np.array([hypothesis.prior for hypothesis in found.hypotheses])
    after = np.array([hypothesis.prior for hypothesis in hypotheses])
    old = found.posterior
    joint = old.probability * after / before
    total = float(joint.sum())
    probability = joint / total * (1 - old.none) if total > 0 else old.probability
    return replace(found, hypotheses=hypotheses, posterior=replace(old, probability=probability))


def _log_evidence(found: Diagnosis) -> float:
    """Return the logarithm of the likelihood of the readings over all hypotheses."""
    prior = np.array([hypothesis.prior for hypothesis in found.hypotheses])
    return float(np.logaddexp.reduce(found.posterior.evidence + np.log(prior / prior.sum())))


def _members(groups: Mapping[str, int]) -> dict[int, tuple[str, ...]]:
    """Return who is in each group."""
    members: dict[int, list[str]] = {}
    for name, group in groups.items():
        members.setdefault(group, []).append(name)
    return {group: tuple(mine) for group, mine in members.items()}


def _believed(doubt: Doubt, rough: Weighed, readings: Readings) -> Believed:
    """Return the probabilities of a doubt's answers, and the reading that tells the first from the second."""
    if doubt.name in rough.apart:
        priors = [(answer.label, answer.prior) for answer in doubt.answers]
        return Believed(doubt, tuple(sorted(priors, key=lambda each: -each[1])), "", _span(priors))
    about = rough.about(doubt)
    found, shares = about.found, about.shares
    chance = dict.fromkeys((answer.label for answer in doubt.answers), 0.0)
    for each, share in zip(found, shares.tolist(), strict=True):
        chance[each.chosen[doubt.name].label] += share
    ordered = sorted(chance.items(), key=lambda item: -item[1])
    because = ""
    if len(ordered) > 1:
        first = max(range(len(found)), key=lambda k: (found[k].chosen[doubt.name].label == ordered[0][0], shares[k]))
        rivals = [each for each in found if each.chosen[doubt.name].label == ordered[1][0]]
        # the drawing that differs in this answer alone tells most plainly
        alone = [each for each in rivals if _apart(each, found[first]) == {doubt.name}]
        if rivals:
            because = _because(found[first], (alone or rivals)[0], ordered[1][0], readings)
    return Believed(doubt, tuple(ordered), because, _span(list(chance.items())))


def _span(parts: Sequence[tuple[str, float]]) -> str:
    """Return the range of a value from its parts, in their order, without the tails; empty for what is no range."""
    if len(parts) < 3 or " to " not in parts[0][0]:
        return ""
    below = np.cumsum([share for _, share in parts])
    first = int(np.searchsorted(below, TAIL))
    last = min(int(np.searchsorted(below, 1 - TAIL)), len(parts) - 1)
    return f"{parts[first][0].partition(' to ')[0]} to {parts[last][0].partition(' to ')[2]}"


def _apart(one: Alternative, other: Alternative) -> set[str]:
    """Return the doubts that two drawings answer differently."""
    return {name for name, answer in one.chosen.items() if other.chosen[name].label != answer.label}


def _because(likely: Alternative, other: Alternative, label: str, readings: Readings) -> str:
    """Return the reading that speaks most for one drawing beside another, with what the other would show."""
    from seqsim.wording.tables import quantity

    mine, theirs = likely.seen.expected, other.seen.expected
    best, told = TELLS, ""
    for k, reading in enumerate(readings.readings):
        if k >= len(mine) or k >= len(theirs) or not isinstance(reading.value, float):
            continue
        apart = abs(mine[k] - theirs[k])
        if not np.isfinite(apart) or apart < 0.05 * max(abs(mine[k]), abs(theirs[k]), 1e-3):
            continue
        nearer = (abs(reading.value - theirs[k]) - abs(reading.value - mine[k])) / apart
        if nearer > best:
            unit = (Unit.OF_GOOD if reading.of_good else KINDS[reading.kind].unit).value
            best, told = (
                nearer,
                f"{format_reading(reading)}; with '{label}' it would be {quantity(float(theirs[k]), unit)}",
            )
    return told
