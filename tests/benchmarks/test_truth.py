"""The truth of the switch level: library circuits, every power state, healthy and every single fault, beside SPICE.

Run with ``pytest -m benchmark tests/benchmarks/test_truth.py -s``; it needs the engine and takes some minutes of two
cores. The report goes to the file that the environment variable TRUTH_REPORT names, else to a temporary folder. With
TRUTH_FOLDER a run that was ended goes on where it was. TRUTH_CIRCUITS names circuits to take (all), TRUTH_FAULTS how
many faults of each at most.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from seqsim.circuit.library import library
from seqsim.spice.compare import Basin
from seqsim.spice.truth import Sample, measure, untouched
from seqsim.spice.truth_report import HEADINGS, line, reached, report

pytestmark = pytest.mark.benchmark


def test_the_switch_level_is_true_to_spice(tmp_path: Path) -> None:
    """On circuits kept for measuring, 95 % of nodes lie within 50 mV and 99 % within 100 mV, moved nodes likewise."""
    names = os.environ.get("TRUTH_CIRCUITS", "").split() or sorted(library())
    folder = Path(os.environ.get("TRUTH_FOLDER", tmp_path / "samples"))
    most = int(os.environ["TRUTH_FAULTS"]) if "TRUTH_FAULTS" in os.environ else None
    samples: list[Sample] = []
    print("", *HEADINGS, sep="\n")
    begun = time.perf_counter()
    for found in measure(names, (Basin.SEEDED, Basin.COLD), most=most, folder=folder):
        samples += found
        print(line(found[0].circuit, found[0].basin, found), f"{time.perf_counter() - begun:.0f} s", flush=True)
    text = report(samples)
    path = Path(os.environ.get("TRUTH_REPORT", tmp_path / "truth.md"))
    path.write_text(text, encoding="utf-8")
    print(f"\n{text.partition('## ')[0]}\nwritten to {path}")
    for name, figure, aim, met in reached(samples):
        print(f"{name}: {figure:.4f}, aim {aim} {'met' if met else 'MISSED'}")
    assert any(untouched(name) for name in names)
    assert all(met for _, _, _, met in reached(samples))
