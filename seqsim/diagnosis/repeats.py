"""Readings that were taken more than once: alike they hardly are slips; apart, one of them is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.spread import Noise
from seqsim.network.network import Bools, Floats
from seqsim.readings import Reading

SLIP_REPEATED = 1e-4
"""Chance of a slip of a reading that was taken twice and came out alike."""
CONTRADICTS = 4.0
"""Standard deviations between two readings of one place that cannot both be right."""
MOST_TIMES = 3
"""A reading is asked for no more often than this: what never comes out alike is no slip."""


def repeats(readings: Sequence[Reading], noise: Noise) -> tuple[Noise, Floats]:
    """Return the chance (r,) that each reading is a slip, before any fault is weighed, and the noise of what counts.

    Of two that differ each is a slip with one chance in two. One that two others outvote does not count: its chance is
    one, and it is no number any more. By what alike ones differ, touch and warmth move each of them by itself.
    """
    agree = _agree(readings, noise)
    chance = np.full(len(readings), SLIP)
    covariance = noise.covariance.copy()
    for same in _by_probe(readings):
        votes = agree[np.ix_(same, same)].sum(axis=1)
        if len(same) == 1:
            continue
        if votes.max() == 1:
            chance[same] = 1 - 1 / len(same)
            continue
        chance[same] = np.where(votes == votes.max(), SLIP_REPEATED, 1.0)
        alike = np.array(same)[votes == votes.max()]
        covariance[alike, alike] += (np.ptp(noise.observed[alike]) / 2) ** 2
    return replace(noise, number=noise.number & (chance < 1), covariance=covariance), chance


def settled(readings: Sequence[Reading], chance: Floats) -> Bools:
    """Tell of which readings (r,) taking them again tells nothing: two are alike, or three times were in vain."""
    probes = [reading.probe() for reading in readings]
    alike = {probe for probe, own in zip(probes, chance, strict=True) if own == SLIP_REPEATED}
    return np.array([probe in alike or probes.count(probe) >= MOST_TIMES for probe in probes], dtype=np.bool_)


def _by_probe(readings: Sequence[Reading]) -> list[list[int]]:
    """Return the numbers of readings, those of one place and kind together."""
    found: dict[object, list[int]] = {}
    for k, reading in enumerate(readings):
        found.setdefault((reading.probe(), reading.of_good), []).append(k)
    return list(found.values())


def _agree(readings: Sequence[Reading], noise: Noise) -> Bools:
    """Tell which readings (r, r) can both be right if they were taken at one place: numbers near, words the same."""
    value = np.array([str(reading.value) for reading in readings])
    apart = np.abs(noise.observed[:, None] - noise.observed)
    own = np.diag(noise.covariance)
    near = apart <= CONTRADICTS * np.sqrt(np.maximum(own[:, None], own))
    both = noise.number[:, None] & noise.number
    return np.where(both, near, value[:, None] == value)
