"""The next reading on library boards: where it goes, what it promises, when it stops."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from seqsim.circuit import Circuit
from seqsim.diagnosis import Advice, Standing, advise, diagnose
from seqsim.diagnosis.advice import HELD, classes
from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.conditions import Desk
from seqsim.readings import Readings, parse_reading

Ready = Callable[[str], tuple[Circuit, Desk, Alike]]
NAME, UP = "inverting_npn", ("V5 5.00",)


def stand(ready: Ready, *texts: str) -> Standing:
    circuit, at, alike = ready(NAME)
    if not texts:
        return Standing.before(circuit, at, alike)
    taken = tuple(parse_reading(circuit, text) for text in texts)
    return Standing.of(diagnose(circuit, Readings(readings=taken), at=at), taken)


def advice(ready: Ready, *texts: str) -> Advice:
    return advise(stand(ready, *texts))


def test_the_first_reading_is_unpowered(ready: Ready) -> None:
    """Before power goes on, the feeding supply's net is measured for a short; a signal's net is not."""
    found = advice(ready)
    assert [(step.place, step.kind, step.state) for step in found.next] == [("V5", "ohms", "off")]
    assert found.first == ("V5",)
    assert found.supplies == ("V5",)
    assert found.readings == 0
    low = found.next[0].outcomes[0]
    assert not low.as_healthy
    assert isinstance(low.low, float)
    assert low.low < 1000


def test_every_supply_is_checked_for_a_short_whatever_that_tells(ready: Ready) -> None:
    """A first reading that fits little leaves the second supply's net to be measured before power goes on."""
    circuit, at, _ = ready("double_inversion")
    taken = (parse_reading(circuit, "V5 109k ohm"),)
    found = advise(Standing.of(diagnose(circuit, Readings(readings=taken), at=at), taken))
    assert found.first == ("V12",)
    assert not found.stop
    assert ("V12", "ohms", "off") in {(step.place, step.kind, step.state) for step in found.next}


def both_supplies(ready: Ready, *texts: str) -> tuple[Advice, list[tuple[str, str, str]]]:
    """Return what is advised on a board with a gate supply and a rail, neither shorted, and the steps at these."""
    circuit, at, _ = ready("double_inversion")
    taken = tuple(parse_reading(circuit, text) for text in ("V12 OL ohm", "V5 109k ohm", *texts))
    found = advise(Standing.of(diagnose(circuit, Readings(readings=taken), at=at), taken))
    return found, [(s.place, s.kind, s.state) for s in found.next if s.kind == "volts" and s.place in ("V12", "V5")]


def test_supplies_come_first_once_power_is_on(ready: Ready) -> None:
    """Power-up begins with the supplies (common practice), in the state that the board is in; what helps follows."""
    found, steps = both_supplies(ready, "MODEM_EN 11.9 @asleep")
    assert found.supplies == ("V12", "V5")
    assert sorted(steps) == [("V12", "volts", "asleep"), ("V5", "volts", "asleep")]
    assert [step.place in ("V12", "V5") for step in found.next[:3]] == [True, True, False]
    assert max(step.bits for step in found.next[2:]) > max(step.bits for step in found.next[:2])
    assert all(step.caution for step in found.next)
    found, steps = both_supplies(ready, "MODEM_EN 11.9 @awake", "V12 11.9 @asleep")
    assert found.supplies == ("V5",)
    assert (found.next[0].place, found.next[0].state) == ("V5", "asleep")
    found, steps = both_supplies(ready, "V12 11.9 @asleep", "V5 5.01 @asleep", "MODEM_EN 11.9 @awake")
    assert not found.supplies
    assert not steps


def test_a_pin_that_is_up_proves_its_supply(ready: Ready) -> None:
    """Volts at a pin of a supply's net count where they are up; a pin at 0 V may be cut off from it."""
    assert both_supplies(ready, "MODEM_EN 11.9 @asleep", "R6.1 11.9 @asleep")[0].supplies == ("V5",)
    assert both_supplies(ready, "MODEM_EN 0.0 @awake", "R6.1 0.0 @awake")[0].supplies == ("V12", "V5")


def test_an_answer_waits_for_the_supplies(ready: Ready) -> None:
    """A dead target is no proof of an absent supply: its volts are asked for before an answer is given."""
    texts = ("V5 100k ohm", "HEAT_EN 0.0 @shut", "HEAT_EN 0.0 @open")
    standing = stand(ready, *texts)
    assert classes(standing).probability.max() >= HELD
    found = advise(standing)
    assert not found.stop
    assert [(step.place, step.kind, step.state) for step in found.next] == [("V5", "volts", "open")]
    assert advice(ready, *texts, "V5 0.0 @open").supplies == ()


def test_an_answer_found_without_power_needs_none(ready: Ready) -> None:
    """R3 (10 kΩ) at 0.9 Ω is shorted, whatever the supplies do."""
    circuit, at, _ = ready("double_inversion")
    taken = tuple(parse_reading(circuit, text) for text in ("V12 OL ohm", "V5 122k ohm", "R3.1 to R3.2 0.9 ohm"))
    found = advise(Standing.of(diagnose(circuit, Readings(readings=taken), at=at), taken))
    assert found.leading[0][2] >= HELD
    assert found.stop == "found"
    assert not found.supplies


def test_steps_are_ordered_by_what_they_tell_in_a_second(ready: Ready) -> None:
    """Bits by seconds fall from step to step, no reading is advised twice, and none that was taken."""
    found = advice(ready, "V5 100k ohm", *UP, "HEAT_EN 0.03")
    rates = [step.bits / step.seconds for step in found.next]
    assert rates == sorted(rates, reverse=True)
    probes = [(step.place, step.to, step.kind, step.state, step.done) for step in found.next]
    assert len(set(probes)) == len(probes)
    assert ("HEAT_EN", None, "volts", "open", ()) not in probes
    assert found.state == "open"
    assert found.next[0].state == "open"


def test_outcomes_are_ranges_in_order(ready: Ready) -> None:
    """Ranges rise and do not overlap; exactly one of them is what a healthy board shows; all is said of the odds."""
    circuit, _, _ = ready(NAME)
    for step in advice(ready, "V5 100k ohm", "HEAT_EN 0.03").next:
        ends = [end for each in step.outcomes for end in (each.low, each.high) if isinstance(end, float)]
        assert ends == sorted(ends)
        assert sum(each.as_healthy for each in step.outcomes) == 1
        assert 0.95 < sum(each.probability for each in step.outcomes) <= 1 + 1e-9
        assert parse_reading(circuit, step.write).place == step.place


def test_it_stops_when_one_group_holds_the_fault(ready: Ready) -> None:
    """With R1 shorted, its two ends read alike: the group holds it, and the check with power off is told."""
    found = advice(ready, "V5 101k ohm", "HEAT_EN 0.030", "DOOR_OPEN 0.92", "R1.1 to R1.2 0.2 ohm", "Q1_BASE 0.76", *UP)
    assert found.leading[0][2] >= HELD
    assert "R1:short" in found.leading[0][1]
    assert found.stop in {"found", "look_alikes"}
    assert not found.next
    assert found.confirm


def test_a_pressed_joint_tells_it_from_a_dead_part(ready: Ready) -> None:
    """Where an open joint and its part are suspected, the target is offered with the joint pressed, at its own time.

    Coming to life means the joint; staying as it was means something else, and the outcome names that.
    """
    found = advice(ready, "HEAT_EN 4.95", "Q1_BASE 0.621", "V5 5.00")
    step = next(step for step in found.next if step.done)
    assert (step.place, step.kind, step.state, step.done) == ("HEAT_EN", "volts", "open", ("Q1.C pressed",))
    assert step.seconds > 2 * min(each.seconds for each in found.next)
    assert "Press with plastic" in step.caution
    alive, dead = step.outcomes
    assert alive.as_healthy
    assert alive.points_to[0] == "Q1.C:joint open"
    assert "Q1.C:joint open" not in dead.points_to
    assert parse_reading(ready(NAME)[0], step.write).interventions


def test_a_doubtful_reading_is_asked_for_again(ready: Ready) -> None:
    """A reading that nothing else agrees with is offered once more, although it was taken."""
    standing = stand(ready, "V5 101k ohm", "V5 5.00", "HEAT_EN 0.030", "Q1_BASE 3.9", "DOOR_OPEN 2.9", "R2.1 0.68")
    doubtful = [reading.place for reading, slip in zip(standing.readings, standing.slips, strict=True) if slip > 0.2]
    assert doubtful
    offered = {step.place for step in advise(standing, steps=20).next}
    assert offered & set(doubtful)


def test_classes_hold_all_probability(ready: Ready) -> None:
    """Every hypothesis belongs to one class; a group takes along something at its own places."""
    standing = stand(ready, "V5 100k ohm", "HEAT_EN 0.03")
    told = classes(standing)
    assert (told.of >= 0).all()
    assert told.probability.sum() == pytest.approx(standing.probability.sum())
    named = {h.name: int(c) for h, c in zip(standing.hypotheses, told.of, strict=True)}
    assert named["R1:something wrong"] == named["R1:short"]


def test_documented_fields(ready: Ready) -> None:
    """The fields of `next` are plain data."""
    fields = json.loads(json.dumps(advice(ready, "V5 100k ohm", "HEAT_EN 0.03").to_dict()))
    assert fields.keys() >= {"schema", "circuit", "stop", "leading", "next", "cautions"}
    for step in fields["next"]:
        assert step.keys() >= {"place", "kind", "state", "with", "bits", "seconds", "caution", "outcomes"}
        assert all(each.keys() >= {"low", "high", "points_to"} for each in step["outcomes"])
        assert step["caution"]


def test_no_outcome_lies_below_ground(ready: Ready) -> None:
    """A shorted load takes the supply to its limit, from where straight lines lead far: none is told beyond the board.

    Nothing on this one lies below ground (Kirchhoff's laws).
    """
    circuit, at, _ = ready("supervised_lamp")
    taken = (parse_reading(circuit, f"{circuit.target} 1.0"),)
    found = advise(Standing.of(diagnose(circuit, Readings(readings=taken), at=at), taken))
    lows = [outcome.low for step in found.next if step.kind == "volts" for outcome in step.outcomes]
    assert lows
    assert all(isinstance(low, float) and low > -0.1 for low in lows)
