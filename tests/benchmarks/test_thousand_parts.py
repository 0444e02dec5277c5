"""A generated board of 1,000 parts: what `check` and `levels` take, and every single fault of it.

Every fault is predicted nominally for readings in each power state; the leaders of a made-up broken board then get
their sensitivities. The same with a quarter of the board shows how the time grows. Run with
``pytest -m benchmark tests/benchmarks/test_thousand_parts.py -s``.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from chain import chain, chain_text

from seqsim.circuit import Circuit
from seqsim.diagnosis.cells import leading
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.spread import model_latents, noise
from seqsim.readings import METER, Reading, measurement, parse_reading

pytestmark = pytest.mark.benchmark

STAGES, QUARTER = 143, 36
SECONDS, MEBIBYTES = 60.0, 2048.0
EVERY = 20
"""One stage in so many has its enable measured."""


def taken(circuit: Circuit, stages: int) -> list[Reading]:
    """Return readings along the chain: all is well up to the middle, and dead behind it."""
    texts = ["V5 120 ohm"]
    for k in range(EVERY, stages + 1, EVERY):
        texts.append(f"EN{k} {5.0 if k < stages / 2 else 0.0} @running")
        texts.append(f"EN{k} 0.0 @waiting")
    return [parse_reading(circuit, text) for text in texts]


def work(stages: int) -> tuple[int, int, float, float]:
    """Return how many faults and leaders there were, and the seconds of wall and processor that they took."""
    wall, processor = time.perf_counter(), time.process_time()
    circuit = chain(stages)
    at = desk(circuit)
    measurements = [measurement(circuit, reading, METER) for reading in taken(circuit, stages)]
    hypotheses = listed(circuit)
    branches = [Branch(k, 1.0, hypothesis.modes[0], 1) for k, hypothesis in enumerate(hypotheses)]
    sorted_out = conditions(measurements)
    found = Predictor(at, sorted_out, len(measurements)).nominal(branches)
    noisy = noise(measurements, sorted_out, found.tips[found.good])
    leaders, _ = leading(found, noisy, len(branches))
    known, latents, _ = model_latents(at.network)
    sensitive = Predictor(type(at)(circuit, known, at.benches), sorted_out, len(measurements))
    moves = sensitive.moves([branches[k] for k in leaders], [0] * len(leaders), latents)
    assert np.isfinite(moves).all()
    assert found.good.mean() > 0.99
    return len(branches), len(leaders), time.perf_counter() - wall, time.process_time() - processor


def test_every_fault() -> None:
    """Seconds and memory of all single faults, and how they grow with the board."""
    work(2)  # the kernel is loaded
    quarter, _, _, less = work(QUARTER)
    faults, leaders, wall, processor = work(STAGES)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"\n1,000 parts: {faults} faults nominally and {leaders} leaders with sensitivities, {wall:.1f} s "
        f"({processor:.1f} s of the processors, {1e3 * processor / faults:.1f} ms a fault) on {os.cpu_count()} cores "
        f"(to reach: {SECONDS:g} s on two), peak memory {memory:.0f} MiB (to reach: {MEBIBYTES:g})\n"
        f"  a quarter of it: {quarter} faults, {less:.1f} s of the processors, {1e3 * less / quarter:.1f} ms a fault"
    )


@pytest.mark.parametrize("command", ["check", "levels"])
def test_commands(command: str, tmp_path: Path) -> None:
    """Seconds and memory from the shell."""
    path = tmp_path / "thousand.yaml"
    path.write_text(chain_text(STAGES), encoding="utf-8")
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "seqsim", command, str(path)], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode in (0, 1)
    print(
        f"\nseqsim {command}, 1,000 parts: {time.perf_counter() - start:.1f} s, "
        f"{usage.ru_utime + usage.ru_stime:.1f} s of the processors, peak memory {usage.ru_maxrss / 1024:.0f} MiB"
    )
