"""How long a person waits: import, help, and whole commands from the shell, beside what is aimed at.

Run with ``pytest -m benchmark tests/benchmarks -s``. Nothing fails by being slow: the figures are printed.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable

import pytest

pytestmark = pytest.mark.benchmark

RUNS = 7


def seconds(arguments: list[str]) -> list[float]:
    """Wall-clock times of a Python process, the first (cold) run left out."""
    times = []
    for _ in range(RUNS + 1):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
        times.append(time.perf_counter() - start)
    return times[1:]


@pytest.fixture(scope="module")
def bare() -> float:
    """Median time of an interpreter that does nothing."""
    return statistics.median(seconds(["-c", "pass"]))


@pytest.fixture
def report(bare: float) -> Callable[[str, list[float], float], None]:
    """Print the median and the range of some times beside a target, all in milliseconds."""

    def tell(what: str, times: list[float], target: float) -> None:
        middle = statistics.median(times)
        print(
            f"\n{what}: median {middle * 1e3:.0f} ms ({min(times) * 1e3:.0f} to {max(times) * 1e3:.0f}), of which the "
            f"bare interpreter {bare * 1e3:.0f} ms; to reach: {target * 1e3:.0f} ms"
        )

    return tell


Report = Callable[[str, list[float], float], None]


def test_import(report: Report) -> None:
    """`import seqsim`."""
    report("import seqsim", seconds(["-c", "import seqsim"]), 0.15)


def test_help(report: Report) -> None:
    """`seqsim --help`."""
    report("seqsim --help", seconds(["-m", "seqsim", "--help"]), 0.4)


@pytest.mark.parametrize("board", ["beehive_scale", "greenhouse_fan", "organ_blower"])
def test_levels(report: Report, board: str) -> None:
    """`seqsim levels` on a board of the library."""
    report(f"seqsim levels {board}", seconds(["-m", "seqsim", "levels", board]), 1.0)
