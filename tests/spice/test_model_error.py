"""The split of differences into what the nodes of a board share and what is theirs."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.spice.compare import Basin
from seqsim.spice.model_error import model_error
from seqsim.spice.truth import Sample


def test_shared_and_residual_are_told_apart() -> None:
    """Differences made of a shared shift of 20 mV and 5 mV of a node's own come out as such."""
    random = np.random.default_rng(1)
    no = np.zeros(12, dtype=np.bool_)
    samples = [
        Sample(
            "c", "f", "s", Basin.SEEDED, "compared", random.normal(0.03, 0.02) + random.normal(0, 0.005, 12),
            no, no, logic_agrees=True, input_floats=False,
        )
        for _ in range(2000)
    ]  # fmt: skip
    found = model_error(samples)
    assert found.shared == pytest.approx(0.02, rel=0.1)
    assert found.residual == pytest.approx(0.005, rel=0.1)
    assert found.bias == pytest.approx(0.03, rel=0.1)
