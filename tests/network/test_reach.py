"""What a deviation still moves once a fault has turned a knob."""

from __future__ import annotations

import numpy as np
import pytest

import seqsim
from seqsim.circuit import compile_network, library, read_circuit
from seqsim.network import Turn
from seqsim.network.reach import reach, shifting


def test_a_share_counts_from_where_a_knob_stands() -> None:
    """Volts turned to 0 have no spread left, doubled ones twice of it; ohms count from where they stand anyway."""
    knobs = tuple(compile_network(read_circuit(library()["double_inversion"])).knobs.values())
    shifts = shifting(knobs)
    number = {(knob.owner, knob.name): k for k, knob in enumerate(knobs)}
    turned = (Turn("V12", "volts", 0.0), Turn("V5", "volts", np.array([0.5, 2.0])), Turn("R1", "ohms", 10.0))
    factors = reach(turned, shifts, len(knobs), severity=1)
    assert factors[number["V12", "volts"]] == 0
    assert factors[number["V5", "volts"]] == 2
    assert factors[number["R1", "ohms"]] == 1
    assert (np.delete(factors, [number["V12", "volts"], number["V5", "volts"]]) == 1).all()


def test_a_rail_stuck_at_ground_has_no_spread() -> None:
    """The 95th percentile of a 12 V rail of 2 % that is stuck at 0 V is 0 V."""
    found = seqsim.load("double_inversion").levels(faults="V12:stuck low").nodes["V12"]
    assert found.high == pytest.approx(0, abs=1e-6)
