"""Time of ``seqsim draw`` from the shell on the boards of the library, beside what is aimed at."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark

RUNS = 5
SECONDS = 3.0


@pytest.mark.parametrize("board", ["greenhouse_fan", "organ_blower"])
def test_draw(board: str, tmp_path: Path) -> None:
    """The whole board as SVG, in a process of its own; the first run is left out."""
    times = []
    for _ in range(RUNS + 1):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "seqsim", "draw", board, "-o", tmp_path / "board.svg"], check=True)
        times.append(time.perf_counter() - start)
    print(f"\nseqsim draw {board}: median {statistics.median(times[1:]):.2f} s (to reach: {SECONDS:g} s at 60 parts)")
