"""The truth of the switch level: library circuits, every power state, healthy and every single fault, beside SPICE.

Run with ``pytest -m benchmark tests/benchmarks/test_truth.py -s``; the report goes to the file that the environment
variable TRUTH_REPORT names, else to a temporary folder. It needs the engine and takes some minutes.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from seqsim.circuit.library import library
from seqsim.spice.compare import Basin
from seqsim.spice.truth import for_measuring, measure
from seqsim.spice.truth_report import reached, report

pytestmark = pytest.mark.benchmark


def test_the_switch_level_is_true_to_spice(tmp_path: Path) -> None:
    """On circuits kept for measuring, 95 % of nodes lie within 50 mV and 99 % within 100 mV, moved nodes likewise."""
    names = sorted(library())
    assert any(for_measuring(name) for name in names)
    samples = list(measure(names, (Basin.SEEDED, Basin.COLD)))
    text = report(samples)
    path = Path(os.environ.get("TRUTH_REPORT", tmp_path / "truth.md"))
    path.write_text(text, encoding="utf-8")
    print(f"\n{text.partition('## ')[0]}\nwritten to {path}")
    for name, figure, aim, met in reached(samples):
        print(f"{name}: {figure:.4f}, aim {aim} {'met' if met else 'MISSED'}")
    assert all(met for _, _, _, met in reached(samples))
