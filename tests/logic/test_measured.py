from __future__ import annotations

import explained
import pytest
from shelf import large

from seqsim.faults import middle, single_faults
from seqsim.logic import situation
from seqsim.logic.measured import explain_readings
from seqsim.network import GROUND
from seqsim.readings import Reading, parse_reading

EVERY = {"double_inversion": 4, "inverting_npn": 4, "p_channel_high_side": 6, "greenhouse_fan": 40}
"""Each n-th fault of some boards; the readings are those of the model itself, to a millivolt."""
DEAD_VOLTS = 0.5
"""A fault counts here if it moves the target by this much."""
READS = Reading(kind="volts", place="", state="", value=0.0, resolution=1e-3)


def named_at_the_break(name: str, every: int) -> list[bool]:
    """Tell for each n-th fault that kills the target whether it is among what lies at a break."""
    circuit, reference = explained.board(name)
    state = list(circuit.power_states)[-1]
    target = circuit.target or ""
    nets = [net for net in circuit.nets() if net != GROUND]
    found = []
    for fault in single_faults(circuit)[::every]:
        patches = fault.patches(middle(fault.severity))
        now = situation(circuit, state, [(fault.name, patches)], network=reference.network)
        if now.oscillates or abs(now.volts(target) - reference.states[state].at(target)) < DEAD_VOLTS:
            continue
        readings = [
            READS.model_copy(update={"place": net, "state": state, "value": round(now.volts(net), 3)}) for net in nets
        ]
        measured = explain_readings(name, circuit, readings).measured
        assert measured is not None
        found.append(bool({n for each in measured.breaks for n in (each.place, *each.between)} & fault.places))
    return found


def test_the_break_is_where_the_fault_is() -> None:
    """With every net read, the fault is among what lies at a break, on at least nine boards of ten."""
    found = [each for name, every in EVERY.items() for each in named_at_the_break(name, every)]
    assert len(found) >= 15
    assert sum(found) >= 0.9 * len(found)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.benchmark) if large(name) else name for name in explained.NAMES]
)
def test_a_healthy_board_has_no_break(name: str) -> None:
    """Readings of the model itself agree at every net, in the last state; large boards are left to the benchmarks."""
    circuit, reference = explained.board(name)
    state = list(circuit.power_states)[-1]
    levels = reference.states[state]
    readings = [
        READS.model_copy(update={"place": net, "state": state, "value": round(levels.at(net), 3)})
        for net in circuit.nets()
        if net != GROUND
    ]
    measured = explain_readings(name, circuit, readings).measured
    assert measured is not None
    assert all(mark.agrees for mark in measured.marks)
    assert measured.breaks == ()


def test_readings_of_other_states_and_kinds_are_set_aside_by_name() -> None:
    """Nothing is left out silently."""
    circuit, _ = explained.board("greenhouse_fan")
    texts = ("EN_BLOWER 4.55", "EN_BLOWER 0.02 @battery", "V5 60k ohm", "R9.1 to R9.2 45mV")
    measured = explain_readings("greenhouse_fan", circuit, [parse_reading(circuit, text) for text in texts]).measured
    assert measured is not None
    assert len(measured.marks) == 1
    assert len(measured.unused) == 3


def test_a_dead_supply_is_a_break_at_its_own_net() -> None:
    """Nothing lies behind a supply, so the break is where it enters, and the supply is named."""
    circuit, _ = explained.board("inverting_npn")
    readings = [parse_reading(circuit, text) for text in ("HEAT_EN 0 @shut", "V5 0 @shut", "Q1_BASE 0 @shut")]
    found = explain_readings("inverting_npn", circuit, readings, state="shut")
    assert found.measured is not None
    places = {each.place: each for each in found.measured.breaks}
    assert "V5" in places
    assert "V5" in places["V5"].between


def test_words_of_a_meter_count_as_sides() -> None:
    """High and low are compared with the side that the healthy board has."""
    circuit, _ = explained.board("greenhouse_fan")
    texts = ("EN_BLOWER low", "Q1_BASE high", "R8.2 low", "RUN high")
    measured = explain_readings("greenhouse_fan", circuit, [parse_reading(circuit, text) for text in texts]).measured
    assert measured is not None
    assert [mark.agrees for mark in measured.marks] == [False, False, False, True]
    assert [each.place for each in measured.breaks] == ["R8.2"]


def test_a_measured_board_can_be_drawn() -> None:
    """Its picture has the readings beside the levels, and no fault, since none is known."""
    import seqsim

    picture = seqsim.draw(seqsim.load("greenhouse_fan").why(read=["EN_BLOWER 0.01", "Q1_BASE 0.68"]))
    assert picture.kind == "chain"
    assert "broken" not in picture.title
    assert b"<svg" in picture.to_bytes("svg")
