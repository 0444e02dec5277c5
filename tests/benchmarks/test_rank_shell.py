"""Time and peak memory of ``seqsim rank`` from the shell on the boards of the library, beside what is aimed at.

The first run of a circuit starts from an empty cache folder, with the kernel compiled before; the next ones find what
it left.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark

BOARDS = ("beehive_scale", "greenhouse_fan", "organ_blower")
AGAIN = 5
FIRST_SECONDS = 6.0
AGAIN_SECONDS = 1.5


def run(board: str, cache: Path) -> tuple[float, float]:
    """Seconds and peak resident memory (MiB) of one ranking in a process of its own."""
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "seqsim", "rank", board, f"{board}.readings.yaml", "--json"],
        stdout=subprocess.DEVNULL,
        env=os.environ | {"XDG_CACHE_HOME": str(cache)},
    )
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return seconds, usage.ru_maxrss / 1024


@pytest.mark.parametrize("board", BOARDS)
def test_rank(board: str, tmp_path: Path) -> None:
    """First time for a circuit, then cached."""
    run(board, tmp_path / "compiled")
    first, memory = run(board, tmp_path / "empty")
    again = [run(board, tmp_path / "empty")[0] for _ in range(AGAIN)]
    print(
        f"\nseqsim rank {board}: first {first:.2f} s (to reach: {FIRST_SECONDS:g} s at 100 parts), again median "
        f"{statistics.median(again):.2f} s (to reach: {AGAIN_SECONDS:g} s), peak memory {memory:.0f} MiB"
    )
