"""Time and peak memory of ``seqsim rank``, beside what is aimed at: from the shell, and in a running job.

The first run of a circuit starts from an empty cache folder, with the kernel compiled before; the next ones find what
it left. Wall-clock times grow with what else the machine does; the seconds of the processors hardly do.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest
from chain import chain_text

import seqsim

pytestmark = pytest.mark.benchmark

BOARDS = ("beehive_scale", "greenhouse_fan", "organ_blower")
AGAIN = 5
FIRST_SECONDS = 6.0
AGAIN_SECONDS = 1.5
FURTHER_SECONDS = 0.15
STAGES = 14
"""Stages of a generated board of about 100 parts in three power states."""
READ = ("EN14 0.0", "EN7 4.98", "EN10 0.0 @running", "EN7 0.0 @waiting", "V5 4.99", "EN10 101k ohm")
FURTHER = ("EN8 0.0", "EN9 0.0 @waiting", "E7 0.0")
"""What a board shows whose R71 is open."""
ODD_READ = (*READ[:-1], "EN10 4k7 ohm")
ODD_FURTHER = ("EN8 5.0", "EN9 0.0 @waiting", "EN9 5.0")
"""What no single fault explains, so that every ranking tries sets of two and three."""


@dataclass(frozen=True)
class Run:
    """What one ranking in a process of its own took: seconds by the wall, by the processors, and MiB."""

    wall: float
    processor: float
    memory: float


def run(arguments: list[str], cache: Path) -> Run:
    """Run ``seqsim rank`` with what it keeps in a folder of its own."""
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "seqsim", "rank", *arguments, "--json"],
        stdout=subprocess.DEVNULL,
        env=os.environ | {"XDG_CACHE_HOME": str(cache)},
    )
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return Run(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the compiled kernel and nothing else."""
    folder = tmp_path_factory.mktemp("kept")
    run(["inverting_npn", "--read", "HEAT_EN 0.1"], folder)
    return folder


def tell(what: str, arguments: list[str], cache: Path) -> None:
    """Print first and later times."""
    first = run(arguments, cache)
    again = [run(arguments, cache) for _ in range(AGAIN)]
    print(
        f"\nseqsim rank {what}: first {first.wall:.2f} s ({first.processor:.2f} s of the processors; to reach: "
        f"{FIRST_SECONDS:g} s at 100 parts), again median {statistics.median(each.wall for each in again):.2f} s "
        f"({statistics.median(each.processor for each in again):.2f} s; to reach: {AGAIN_SECONDS:g} s), "
        f"peak memory {first.memory:.0f} MiB"
    )


@pytest.mark.parametrize("board", BOARDS)
def test_rank(board: str, cache: Path) -> None:
    """A board of the library, first time and cached."""
    tell(board, [board, f"{board}.readings.yaml"], cache)


def test_rank_of_a_hundred_parts(cache: Path, tmp_path: Path) -> None:
    """A generated board of 100 parts, three power states, volts and ohms."""
    path = tmp_path / "hundred.yaml"
    path.write_text(chain_text(STAGES), encoding="utf-8")
    tell("100 parts", [str(path), *(word for text in READ for word in ("--read", text))], cache)
    tell("100 parts, several faults", [str(path), *(word for text in ODD_READ for word in ("--read", text))], cache)


@pytest.mark.parametrize("board", ["greenhouse_fan", "hundred parts", "hundred parts, several faults"])
def test_further_readings(board: str, tmp_path: Path) -> None:
    """Each further reading in a running job."""
    if board.startswith("hundred parts"):
        path = tmp_path / "hundred.yaml"
        path.write_text(chain_text(STAGES), encoding="utf-8")
        read, further = (READ, FURTHER) if board == "hundred parts" else (ODD_READ, ODD_FURTHER)
        job, taken = seqsim.load(path), seqsim.load(path).read(read)
    else:
        job = seqsim.load(board)
        taken, further = job.read(f"{board}.readings.yaml"), ("VBLOW 0.01", "V5 4.99 @battery", "ARMED 3.27")
    job.rank(taken)
    for text in further:
        taken = job.read(taken, [text])
        wall, processor = time.perf_counter(), time.process_time()
        job.rank(taken)
        print(
            f"\n{board}, {text} on top: {time.perf_counter() - wall:.2f} s "
            f"({time.process_time() - processor:.2f} s of the processors; to reach: {FURTHER_SECONDS:g} s)"
        )
