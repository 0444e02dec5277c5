"""How long a person waits for `why` and `logic`, from the shell, beside what is aimed at.

Run with ``pytest -m benchmark tests/benchmarks/test_why_shell.py -s``. Nothing fails by being slow.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

import pytest

pytestmark = pytest.mark.benchmark

RUNS = 7
TARGET = 1.0
"""Seconds from the shell to the answer on the board of 62 parts."""


@pytest.mark.parametrize(
    "line",
    ["why organ_blower", "why organ_blower --deep", "why greenhouse_fan --fault VIA4:broken", "logic organ_blower"],
)
def test_seconds(line: str) -> None:
    """The median of some runs, the first left out."""
    times = []
    for _ in range(RUNS + 1):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "seqsim", *line.split()], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    middle, least = statistics.median(times[1:]), min(times)
    print(f"\nseqsim {line}: median {middle:.2f} s, least {least:.2f} s; to reach: {TARGET:g} s")
