"""How uncertain the device laws are in the ranking."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seqsim.circuit import compile_network, find_circuit, read_circuit
from seqsim.diagnosis import spread
from seqsim.parts.model_error import DIODE, GAIN, JUNCTION, SATURATION, THRESHOLD, model_error

MEASURED = {
    ("Q1", "junction"): JUNCTION,
    ("Q1", "gain"): GAIN,
    ("M1", "threshold"): THRESHOLD,
    ("D4", "junction"): DIODE,
}


def test_the_ranking_reads_the_measured_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """The squares of a part's own spread and of its law's measured error add; other figures, other latents."""
    network = compile_network(read_circuit(find_circuit("greenhouse_fan")))
    twice = replace(model_error(), laws={law: 2 * sd for law, sd in model_error().laws.items()})
    for error in (model_error(), twice):
        monkeypatch.setattr(spread, "model_error", lambda error=error: error)
        known, _, keep = spread.model_latents(network)
        for key, law in MEASURED.items():
            assert key in keep
            assert known.knobs[key].spread == pytest.approx(np.hypot(network.knobs[key].spread, error.laws[law]))
        assert known.knobs["Q1", SATURATION].spread == error.laws[SATURATION]
        assert known.knobs["R1", "ohms"].spread == network.knobs["R1", "ohms"].spread


def test_the_residual_is_no_less_than_measured() -> None:
    """What a node has by itself is at least what SPICE leaves unexplained."""
    assert model_error().residual_volts <= spread.RESIDUAL_VOLTS <= 0.02
    assert model_error().residual_share <= spread.RESIDUAL_SHARE <= 0.01
