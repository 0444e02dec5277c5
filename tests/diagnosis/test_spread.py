"""How uncertain the device laws are in the ranking."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seqsim.circuit import compile_network, find_circuit, read_circuit
from seqsim.diagnosis import spread
from seqsim.diagnosis.branch import Branch
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import HEALTHY
from seqsim.diagnosis.predict import Predictor
from seqsim.parts.model_error import DIODE, GAIN, JUNCTION, SATURATION, THRESHOLD, model_error
from seqsim.readings import measurement, parse_reading

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


def test_the_diodes_of_a_chip_spread_together() -> None:
    """In diode mode the pins of chips read 0.4 to 0.7 V (common practice): no one reading of these names a dead chip.

    Two diodes of one chip in series, from ground by its output to its input, err twice as far: they lie on one die.
    """
    circuit = read_circuit(find_circuit("supervised_lamp"))
    at = desk(circuit)
    known, latents, keep = spread.model_latents(at.network)
    assert ("U1", "chip diodes") in keep
    assert all(owner != "M1" for owner, name in keep if name == "chip diodes")  # a MOSFET has a knob of its own
    measured = [
        measurement(circuit, parse_reading(circuit, text)) for text in ("V3V3 to V24 0.5 diode", "GND to V24 0.9 diode")
    ]
    predictor = Predictor(replace(at, network=known), conditions(measured), len(measured))
    one, both = np.sqrt((predictor.moves([Branch(0, 1.0, HEALTHY.modes[0], 1)], [0], latents)[0] ** 2).sum(axis=1))
    assert 0.03 < one < 0.07
    assert both == pytest.approx(2 * one, rel=0.1)


def test_the_residual_is_no_less_than_measured() -> None:
    """What a node has by itself is at least what SPICE leaves unexplained."""
    assert model_error().residual_volts <= spread.RESIDUAL_VOLTS <= 0.02
    assert model_error().residual_share <= spread.RESIDUAL_SHARE <= 0.01
