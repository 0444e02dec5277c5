"""The likelihood against its oracle: thousands of drawn boards instead of severity points and sensitivities.

Run with ``pytest -m benchmark tests/benchmarks/test_oracle.py -s``. Boards have a fault of the list, drawn by its
prior, and are read at eight places drawn from those of the target's chain. The oracle's chances, from every fault on
``DRAWS`` boards (4096), are set beside those of the ranking, from the same readings, priors and groups of look-alikes.
How far two halves of the oracle agree tells what its own scatter leaves open. The environment variable ``BOARDS`` says
how many boards are read (300); ``ORACLE`` names a file that keeps the draws.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from measured_boards import Boards, chain_probes
from oracle import Compared, Ensemble, Oracle, compared, leader
from shares import bootstrap, share_text

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis.hypotheses import listed

pytestmark = pytest.mark.benchmark

CIRCUIT = "greenhouse_fan"
"""18 nets and 6 inner nodes: 24 unknowns, 430 faults."""
READINGS, EACH = 8, 30
"""Places at which a board is read, and boards that are read at the same."""
SAME, LOSS = 0.97, 0.10


def draws(oracle: Oracle, count: int) -> Ensemble:
    """Return the oracle's draws, from a file if there is one."""
    kept = os.environ.get("ORACLE", "")
    if kept and Path(kept).exists():
        with np.load(kept) as found:
            return Ensemble(found["tips"], found["restless"], found["good"])
    ensemble = oracle.draw(count, np.random.default_rng(1))
    if kept:
        np.savez(kept, tips=ensemble.tips, restless=ensemble.restless, good=ensemble.good)
    return ensemble


def test_the_ranking_reckons_as_thousands_of_draws() -> None:
    """Prints how often both put the same group first, and what the true group costs either way."""
    circuit = read_circuit(library()[CIRCUIT])
    boards = Boards(circuit, chain_probes(circuit))
    oracle = Oracle(boards, listed(circuit))
    ensemble = draws(oracle, int(os.environ.get("DRAWS", "4096")))
    count, random = int(os.environ.get("BOARDS", "300")), np.random.default_rng(2)
    found: list[Compared] = []
    for _ in range(-(-count // EACH)):
        columns = np.sort(random.choice(len(boards.probes), READINGS, replace=False))
        for each in compared(oracle, ensemble, columns, EACH, random):
            found.append(each)
            if abs(each.loss(each.ranked) - each.loss(each.drawn)) > 1:
                print(
                    f"  {each.fault}: costs {each.loss(each.ranked):.2f} in the ranking, {each.loss(each.drawn):.2f} "
                    f"by the draws, {each.loss(each.halves[0]):.2f} and {each.loss(each.halves[1]):.2f} by their halves"
                )
    same = sum(leader(each.ranked) == leader(each.drawn) for each in found)
    halves = sum(leader(each.halves[0]) == leader(each.halves[1]) for each in found)
    right = [
        sum(leader(each.ranked) == each.group for each in found),
        sum(leader(each.drawn) == each.group for each in found),
    ]
    losses = np.array([[each.loss(way) for way in (each.ranked, each.drawn, *each.halves)] for each in found])
    mean = losses.mean(axis=0)
    low, high = bootstrap(losses, lambda rows: float(rows[:, 0].mean() / rows[:, 1].mean()), random)
    print(
        f"\n{CIRCUIT}: {len(found)} boards, {READINGS} readings, {ensemble.tips.shape[1]} draws of "
        f"{len(oracle.faults)} hypotheses\n  same group first {share_text(same, len(found))} (aim {SAME}); "
        f"halves of the oracle among themselves {share_text(halves, len(found))}\n"
        f"  true group first: ranking {share_text(right[0], len(found))}, oracle {share_text(right[1], len(found))}\n"
        f"  log loss: ranking {mean[0]:.3f}, oracle {mean[1]:.3f} (halves {mean[2]:.3f}, {mean[3]:.3f}); "
        f"ratio {mean[0] / mean[1]:.3f} ({low:.3f} to {high:.3f}), aim {1 + LOSS} at most"
    )
    assert same / len(found) >= SAME
    assert mean[0] <= (1 + LOSS) * mean[1]
