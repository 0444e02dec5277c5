"""Every fault ends with a result within a bounded number of steps; the large boards are in the benchmarks."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from seqsim.circuit import read_circuit
from seqsim.faults import single_faults
from seqsim.sequence import power_up
from seqsim.solver.transient import MOST_EVENTS, MOST_STEPS

FOLDER = Path(__file__).parents[2] / "circuits"


@pytest.mark.parametrize(
    "name",
    ["inverting_npn", "double_inversion", "p_channel_high_side", "n_channel_pass", "power_good_chain"],
)
def test_every_fault(name: str) -> None:
    """Every single fault of a stage: a run to its end, finite numbers, a verdict a rail, a reason if one misses."""
    circuit = read_circuit(FOLDER / f"{name}.yaml")
    for fault in single_faults(circuit):
        result = power_up(name, circuit, [fault.name], draws=0)
        course = result.course
        assert course is not None
        assert result.bound == "", fault.name
        assert course.times[-1] >= result.until
        assert course.steps <= MOST_STEPS
        assert len(course.events) <= MOST_EVENTS
        assert all(math.isfinite(rail.final) for rail in result.rails), fault.name
        assert (result.first_missing is None) == all(rail.came_up for rail in result.rails)
        assert (result.waits_for is None) == (result.first_missing is None)


def test_a_bound_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A run that hits its bound ends, keeps what it has, and says so."""
    monkeypatch.setattr("seqsim.solver.transient.MOST_STEPS", 50)
    result = power_up("power_good_chain", read_circuit(FOLDER / "power_good_chain.yaml"), draws=0)
    assert "time steps" in result.bound
    assert "ended early" in str(result)
    assert result.first_missing == "V5"
