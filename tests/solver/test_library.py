"""Every circuit of the library, healthy and with every single fault, in every power state."""

from __future__ import annotations

import numpy as np
import pytest
from shelf import FOLDER, NAMES, faulted, large, states

from seqsim.circuit import compile_network, read_circuit
from seqsim.solver import Steadiness, batch

FAILED = list(Steadiness).index(Steadiness.FAILED)
FAR = 1000.0
"""Volts that no net reaches: what would be left over if digits were lost on a floating node."""


@pytest.mark.parametrize("name", NAMES)
def test_every_fault_gives_levels(name: str) -> None:
    """At its middle and at both ends each fault settles or is said to oscillate; none fails, none leaves the volts."""
    settles(name, sampled=True)


@pytest.mark.benchmark
@pytest.mark.parametrize("name", [name for name in NAMES if large(name)])
def test_every_fault_of_a_large_board_gives_levels(name: str) -> None:
    """The same with all faults of the boards of which the test above takes a sample."""
    settles(name, sampled=False)


def settles(name: str, *, sampled: bool) -> None:
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    network = compile_network(circuit)
    faults, variants = faulted(circuit, network, ends=True, sampled=sampled)
    for state in states(circuit, network):
        assert state.levels.steadiness is Steadiness.STEADY, state.name
        solved = state.bench.run(variants)
        failed = [faults[k] for k in np.flatnonzero(solved.steadiness == FAILED)]
        assert not failed, (state.name, failed)
        astray = np.abs(solved.volts[:, : network.nets]).max(axis=1)
        assert astray.max() < FAR, (state.name, faults[int(astray.argmax())])


def test_slices_are_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """Settled in threads, slice by slice, each fault comes out bit by bit as in one pass."""
    monkeypatch.setattr(batch, "WORKERS", 3)
    circuit = read_circuit(FOLDER / "greenhouse_fan.yaml")
    network = compile_network(circuit)
    _, variants = faulted(circuit, network, ends=False)
    assert len(variants) > 2 * batch.LEAST_ITEMS
    *_, last = states(circuit, network)
    one_pass = last.bench.job(variants)
    one_pass.run()
    in_slices = last.bench.run(variants)
    for alone, together in zip(one_pass.solved, in_slices, strict=True):
        assert np.array_equal(alone, together)
