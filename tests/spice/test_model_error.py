"""The split of differences into errors of laws and what each node has by itself, and the file that holds it."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.circuit import compile_network, find_circuit, read_circuit
from seqsim.parts.model_error import DIODE, GAIN, JUNCTION, LAWS, SATURATION, THRESHOLD, law_of, model_error
from seqsim.spice.model_error import Differences, Variances, fit, residual_elsewhere, stacked, within_two
from seqsim.spice.truth import for_measuring


def drawn(random: np.random.Generator, saturation: float, diode: float, residual: float) -> Differences:
    """Return a board of two transistors and two diodes, of which eight nodes feel one or two each."""
    law = np.array([LAWS.index(SATURATION)] * 2 + [LAWS.index(DIODE)] * 2)
    felt = random.uniform(0.1, 1.0, (8, 4)) * (random.uniform(size=(8, 4)) < 0.5)
    errors = random.normal(0, [saturation, saturation, diode, diode])
    return Differences(felt @ errors + random.normal(0, residual, 8), np.full(8, 1.0), felt, law)


def test_laws_and_residual_are_told_apart() -> None:
    """Differences made of 20 mV of one law, 40 mV of another and 5 mV of a node's own come out as such."""
    random = np.random.default_rng(1)
    samples = [drawn(random, 0.02, 0.04, 0.005) for _ in range(600)]
    found = fit(stacked(samples), steps=200)
    sd = np.sqrt(found.laws)
    assert sd[LAWS.index(SATURATION)] == pytest.approx(0.02, rel=0.1)
    assert sd[LAWS.index(DIODE)] == pytest.approx(0.04, rel=0.1)
    assert np.sqrt(found.residual(np.array([1.0]))) == pytest.approx([0.005], rel=0.1)
    assert within_two(stacked(samples), found) == pytest.approx(0.954, abs=0.02)


def test_the_residual_pays_for_laws_that_differ_elsewhere() -> None:
    """A circuit whose diodes are wrong by far more than all others leaves a residual; like circuits leave their own."""
    random = np.random.default_rng(2)
    alike = [[drawn(random, 0.02, 0.02, 0.004) for _ in range(60)] for _ in range(3)]
    assert np.sqrt(sum(residual_elsewhere(alike))) == pytest.approx(0.004, rel=0.2)
    odd = [*alike[:2], [drawn(random, 0.02, 0.3, 0.004) for _ in range(60)]]
    assert np.sqrt(sum(residual_elsewhere(odd))) > 0.02


def test_squares_of_volts_and_share_add() -> None:
    """3 mV and 1 % of 0.4 V are 5 mV."""
    known = Variances(np.zeros(len(LAWS)), 0.003**2, 0.01**2)
    assert np.sqrt(known.residual(np.array([0.4]))) == pytest.approx([0.005])


def test_each_law_finds_its_knobs() -> None:
    """Transistors, channels and diodes of a board have their laws; resistors and chips have none."""
    network = compile_network(read_circuit(find_circuit("greenhouse_fan")))
    laws = {key: law_of(knob) for key, knob in network.knobs.items()}
    assert laws["Q1", "junction"] == JUNCTION
    assert laws["Q1", "gain"] == GAIN
    assert laws["M1", "threshold"] == THRESHOLD
    assert laws["D4", "junction"] == DIODE
    assert laws["M1", "body diode"] is None
    assert {law for (owner, _), law in laws.items() if owner.startswith(("R", "U"))} == {None}


def test_the_file_was_measured_on_circuits_for_tuning_alone() -> None:
    """Circuits for measuring had no part in the figures, and on them these hold for more than nine nodes in ten."""
    error = model_error()
    assert error.nodes > error.states > 100
    assert error.circuits
    assert not any(for_measuring(name) for name in error.circuits)
    assert set(error.laws) == set(LAWS)
    assert error.within_two > 0.9
