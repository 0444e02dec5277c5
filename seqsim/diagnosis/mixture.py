"""Rankings of several drawings made one: names as in the notes, ends by what lies beyond them, shares summed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from seqsim.circuit.doubts import BEYOND
from seqsim.diagnosis.result import Explained, Ranking, Where
from seqsim.network.network import Floats


def mix(rankings: Sequence[Ranking], shares: Floats) -> Ranking:
    """Return the mixture of rankings: a hypothesis has the sum of its shares, told by the one that gives it most.

    Parameters
    ----------
    rankings
        Rankings of the same readings on different drawings.
    shares
        What each drawing weighs, shape (n,); they add up to one.
    """
    first = rankings[int(np.argmax(shares))]
    best: dict[tuple[str, ...], tuple[float, Explained]] = {}
    total: dict[tuple[str, ...], float] = {}
    places: dict[object, tuple[float, Where, float]] = {}
    for ranked, share in zip(rankings, shares.tolist(), strict=True):
        for each in ranked.hypotheses:
            mine = share * each.probability
            total[each.faults] = total.get(each.faults, 0.0) + mine
            if each.faults not in best or mine > best[each.faults][0]:
                best[each.faults] = mine, each
        for spot in ranked.where:
            key = spot.place if spot.group < 0 else spot.group
            before = places.get(key, (0.0, spot, 0.0))
            mine = share * spot.probability
            lead = (mine, spot) if mine > before[0] else before[:2]
            places[key] = (*lead, before[2] + mine)
    hypotheses = [replace(each, probability=total[key]) for key, (_, each) in best.items()]
    where = [replace(spot, probability=min(chance, 1.0)) for _, spot, chance in places.values()]
    return replace(
        first,
        where=tuple(sorted(where, key=lambda each: -each.probability)),
        hypotheses=tuple(sorted(hypotheses, key=lambda each: -each.probability)),
        none_of_these=float(sum(s * ranked.none_of_these for ranked, s in zip(rankings, shares, strict=True))),
    )


def first_names(ranked: Ranking, renamed: Mapping[str, str]) -> Ranking:
    """Return a ranking in which pins are called as on the circuit that was read."""
    back = {new: old for old, new in renamed.items()}
    if not back:
        return ranked

    def name(text: str) -> str:
        pin, colon, rest = text.partition(":")
        return back.get(pin, pin) + colon + rest

    return replace(
        ranked,
        where=tuple(
            replace(each, place=name(each.place), places=tuple(sorted({name(p) for p in each.places})))
            for each in ranked.where
        ),
        hypotheses=tuple(
            replace(each, faults=tuple(name(fault) for fault in each.faults), place=name(each.place))
            for each in ranked.hypotheses
        ),
    )


def beyond_places(ranked: Ranking, ends: Sequence[str]) -> Ranking:
    """Return a ranking that says "beyond" of a board on which nothing that is traced is broken."""
    if not ends:
        return ranked
    place = f"beyond {ends[0]}" if len(ends) == 1 else "beyond what is traced"
    behind = {f"{BEYOND}{end}": f"beyond {end}" for end in ends}

    def spot(each: Where) -> Where:
        named = place if each.place in ("", "nowhere") else behind.get(each.place, each.place)
        return replace(each, place=named, places=tuple(behind.get(p, p) for p in each.places))

    merged: dict[str, Where] = {}
    for each in map(spot, ranked.where):
        before = merged.get(each.place)
        if before is None:
            merged[each.place] = each
        else:
            merged[each.place] = replace(before, probability=min(before.probability + each.probability, 1.0))
    return replace(ranked, where=tuple(sorted(merged.values(), key=lambda each: -each.probability)))
