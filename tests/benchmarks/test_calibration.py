"""Does a stated chance come true that often? Boards as the ranking's own priors send them, read at random places.

Run with ``pytest -m benchmark tests/benchmarks/test_calibration.py -s``. Boards are healthy, have a fault of the list,
something at a place, or what neither foresees (a bridge to a far net, a part fitted wrongly, two unrelated faults), as
often as the priors say. Parts lie within their tolerances, all device laws of a board are shifted together, the meter
errs within its accuracy, one reading of a hundred is a slip. Every entry of `where` and "none of these" is a claim: a
stated chance that comes true or not. Every board is ranked after its last reading, some after each.

The environment variable ``BOARDS`` says how many boards of each circuit are drawn (250), ``EVERY`` which are ranked
after each reading (every 4th); ``KEEP`` names a folder that keeps what is done, so that a run can be broken off and
taken up again, and where the report goes.
"""

from __future__ import annotations

import os
from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from calibration import brier_text, tenths, tenths_text
from kept_rows import Row, report, rows
from mixed_boards import Bench, Ranked
from shares import share_text

from seqsim.circuit import library, read_circuit

pytestmark = pytest.mark.benchmark

CIRCUITS = (
    "diode_wired_and", "double_inversion", "inverting_npn", "isolated_enable", "level_shifter", "power_good_chain",
    "supervised_lamp", "window_comparator", "beehive_scale",
)  # fmt: skip
SEED = 60


def test_what_is_stated_comes_true(tmp_path: Path) -> None:
    """Stated means lie within the 99.5 % interval of what came true, in each tenth; a Brier score with its interval."""
    found: list[Ranked] = []
    for circuit, name in enumerate(CIRCUITS):
        found += [Ranked.from_row(row, f"{name} {row['board']}") for row in _rows(circuit, name, tmp_path)]
    last = [each for k, each in enumerate(found) if k + 1 == len(found) or found[k + 1].board != each.board]
    report("calibration", _text(last, found), tmp_path)
    assert all(each.inside for each in tenths(last, lambda _: True))


def _rows(circuit: int, name: str, spare: Path) -> list[Row]:
    bench = cache(lambda: Bench(read_circuit(library()[name])))
    every = int(os.environ.get("EVERY", "4"))

    def make(number: int) -> list[Row]:
        random = np.random.default_rng((SEED, circuit, number))
        return [each.to_row() for each in bench().ranked(number, random, each=number % every == 0)]

    return list(rows(f"calibration_{name}", int(os.environ.get("BOARDS", "250")), make, spare))


def _text(last: list[Ranked], every: list[Ranked]) -> str:
    random = np.random.default_rng(SEED)
    truths = Counter(each.truth for each in last)
    slipped = [each for each in last if each.slips]
    sure = [each for each in last if max(claim.probability for claim in each.claims) > 0.9]
    parts = [
        "# Stated chances and what came true",
        f"{len(last)} boards of {len(CIRCUITS)} circuits, {len(every)} rankings; "
        + ", ".join(f"{count} {truth}" for truth, count in truths.most_common())
        + f"; a slip among the readings of {len(slipped)}. Above 0.9 something was stated of {len(sure)} boards.",
        f"Brier score of a ranking: {brier_text(last, random)} at the end, {brier_text(every, random)} over all.",
        "## After the last reading, every entry of where and none of these",
        tenths_text(last),
        "## After each reading, clustered by board",
        tenths_text(every),
    ]
    for sort in ("group", "healthy", "place", "several", "none"):
        parts += [f"## {sort} alone, after the last reading", tenths_text(last, lambda c, s=sort: c.sort == s)]  # type: ignore[misc]
    for truth in truths:
        right = sum(max(each.claims, key=lambda c: c.probability).right for each in last if each.truth == truth)
        parts.append(f"{truth}: the likeliest claim is right on {share_text(right, truths[truth])}")
    return "\n\n".join(parts)
