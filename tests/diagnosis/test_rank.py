"""What readings say about small boards of the library."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from measured_boards import Boards

from seqsim.circuit import Circuit
from seqsim.diagnosis import Diagnosis, Ranking, diagnose
from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.conditions import Desk
from seqsim.diagnosis.hypotheses import Sort, listed
from seqsim.diagnosis.rank import table_of
from seqsim.diagnosis.report import ranking
from seqsim.readings import Probe, Reading, Readings, measurement

Ranked = Callable[..., tuple[Diagnosis, Ranking]]
Ready = Callable[[str], tuple[Circuit, Desk, Alike]]

NPN = "inverting_npn"
HEALTHY = ("HEAT_EN 4.95 @shut", "HEAT_EN 0.08 @open", "Q1.B 0.69 @open", "DOOR_OPEN 3.03 @open")


def total(found: Ranking) -> float:
    """Return the sum of all that a ranking gives chances to."""
    return sum(each.probability for each in found.hypotheses) + found.none_of_these


def chance(found: Ranking, fault: str) -> float:
    """Return the probability of one listed fault; the empty name is a healthy board."""
    wanted = (fault,) if fault else ()
    return next(each.probability for each in found.hypotheses if each.faults == wanted)


def test_healthy_readings_rank_healthy_first(ranked: Ranked) -> None:
    """A board that reads as calculated by hand is healthy before all else, and each reading is as healthy."""
    _, found = ranked(NPN, *HEALTHY)
    assert found.hypotheses[0].faults == ()
    assert {each.verdict for each in found.readings} == {"as_healthy"}
    assert total(found) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "texts",
    [
        ("HEAT_EN high @open",),
        ("HEAT_EN low @open", "DOOR_OPEN high @open"),
        ("HEAT_EN 4.8..5.1 @open",),
        ("HEAT_EN about 5 @open",),
        ("R1.1 to R1.2 ohms OL",),
        ("R1.1 to R1.2 10k ohm", "Q1.B diode 0.65"),
        ("V5 to HEAT_EN 1k ohm", "HEAT_EN 4.94 @open"),
        ("R1.2 to Q1.B beep",),
        ("HEAT_EN floating @open",),
        ("HEAT_EN pulsing @open",),
        ("Q1 cold @open",),
        ("V5 0.005A @open",),
        ("HEAT_EN 4.95 @open with R4 lifted",),
    ],
)
def test_every_way_to_write_a_reading_is_weighed(ranked: Ranked, texts: tuple[str, ...]) -> None:
    """Numbers, ranges, words and what is done to the board: chances add up to one and none is negative."""
    _, found = ranked(NPN, *texts)
    assert total(found) == pytest.approx(1.0)
    assert min(each.probability for each in found.hypotheses) >= 0.0
    assert 0.0 < found.none_of_these < 1.0


def test_a_word_and_its_number_point_the_same_way(ranked: Ranked) -> None:
    """An enable that stays high is no healthy board, in whatever words."""
    for text in ("HEAT_EN high @open", "HEAT_EN 4.94 @open", "HEAT_EN 4.7..5.1 @open", "HEAT_EN about 5 @open"):
        _, found = ranked(NPN, text, "DOOR_OPEN 3.2 @open")
        assert chance(found, "") < 0.01 < chance(found, "R1:open")


def test_an_open_resistor_reads_so_without_power(ranked: Ranked) -> None:
    """A reading across R1 of 10 kΩ clears it; infinite ohms there convict it, whatever else is on the board."""
    _, good = ranked(NPN, "HEAT_EN 4.94 @open", "R1.1 to R1.2 10.0k ohm")
    _, bad = ranked(NPN, "HEAT_EN 4.94 @open", "R1.1 to R1.2 ohms OL")
    assert chance(bad, "R1:open") > 10 * chance(good, "R1:open")


def test_a_contradiction_is_told(ranked: Ranked) -> None:
    """The same reading twice with values that no meter explains: both are marked, and the place is to be read again."""
    _, found = ranked(NPN, "HEAT_EN 4.95 @shut", "HEAT_EN 2.0 @shut")
    assert [each.verdict for each in found.readings] == ["contradicts_another"] * 2
    assert {each.place for each in found.read_again} == {"HEAT_EN"}


def test_the_third_time_decides(ranked: Ranked) -> None:
    """What two others outvote counts for nothing: the ranking is that of the others, and nothing is asked any more."""
    _, without = ranked(NPN, *HEALTHY, "V5 5.0 @shut")
    _, found = ranked(NPN, *HEALTHY, "V5 2.2 @shut", "V5 5.0 @shut", "V5 5.0 @shut")
    assert [each.verdict for each in found.readings[-3:]] == ["contradicts_another", "as_healthy", "as_healthy"]
    assert found.read_again == ()
    assert found.hypotheses[0].faults == without.hypotheses[0].faults
    assert found.none_of_these == pytest.approx(without.none_of_these, abs=0.02)


def test_a_reading_that_fits_nothing_is_asked_for_again(ranked: Ranked) -> None:
    """One impossible value among good ones is a slip before it is a fault, and the board stays healthy."""
    _, found = ranked(NPN, *HEALTHY, "V5 2.2 @shut")
    assert [(each.place, each.state) for each in found.read_again] == [("V5", "shut")]
    assert found.hypotheses[0].faults == ()


def test_the_documented_fields(ranked: Ranked) -> None:
    """Every field of the ranking's JSON, each of its type."""
    _, found = ranked(NPN, "HEAT_EN 4.94 @open", "R1.1 to R1.2 ohms OL", "DOOR_OPEN 2.9..3.3 @open", "V5 2.0 @shut")
    record = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert {
        "schema", "circuit", "where", "read_again", "readings", "hypotheses", "none_of_these", "next",
    } <= set(record)  # fmt: skip
    assert record["schema"] == 1
    assert set(record["where"][0]) == {"place", "places", "group", "probability"}
    assert {"place", "kind", "state", "caution"} <= set(record["read_again"][0])
    for each in record["readings"]:
        assert {
            "place", "kind", "state", "value", "unit", "healthy_low", "healthy_high", "verdict",
        } <= set(each)  # fmt: skip
    assert [type(each["value"]) for each in record["readings"]] == [float, str, list, float]
    for each in record["hypotheses"]:
        assert {
            "faults", "place", "probability", "group", "group_size", "readings_explained", "readings_total",
            "confirm", "repair", "caution",
        } <= set(each)  # fmt: skip
        assert isinstance(each["group"], int)
        assert 0 <= each["readings_explained"] <= each["readings_total"] == 4
    listed_first = next(each for each in record["hypotheses"] if each["faults"])
    assert listed_first["confirm"]
    assert listed_first["repair"]
    assert listed_first["caution"]


def test_group_numbers_are_those_of_the_look_alikes(ranked: Ranked) -> None:
    """Members of a group carry its number and its size; places stay outside."""
    found, shown = ranked(NPN, "HEAT_EN 4.94 @open")
    for each in shown.hypotheses:
        if each.group >= 0:
            assert each.group_size == len(found.alike.members[each.group])
            assert "".join(each.faults) in found.alike.members[each.group]
        else:
            assert each.faults[0].endswith(":something wrong")
    assert sum(h.sort is Sort.PLACE for h in found.hypotheses) == sum(each.group < 0 for each in shown.hypotheses)


@pytest.mark.parametrize("name", [NPN, "diode_wired_and", "double_inversion"])
def test_drawn_boards_rank_the_fault_that_they_have(ready: Ready, name: str) -> None:
    """Four faults a stage, parts and device laws drawn at random: the true group or its places stand first."""
    circuit, at, _ = ready(name)
    nets = [net for net in circuit.nets() if net not in circuit.grounds]
    states = [state for state, power in circuit.power_states.items() if power.on]
    probes = [Probe(kind="volts", place=net, state=state) for net in nets for state in states]
    probes += [Probe(kind="ohms", place=net, state="off") for net in nets]
    random = np.random.default_rng(11)
    boards = Boards(circuit, probes)
    cases = boards.cases(listed(circuit)[1:], random)
    right = 0
    for fault, severity in [cases[k] for k in random.permutation(len(cases))[:4]]:
        readings = boards.draw(fault, severity, random)
        assert readings is not None
        raw = diagnose(circuit, Readings(readings=readings), at=at)
        first = ranking(raw, readings).where[0]
        right += first.group == raw.alike.group[fault.name] or bool(fault.places & set(first.places))
    assert right >= 3


def test_without_readings_the_priors_stand(ready: Ready) -> None:
    """Before any reading every fault of the list has its prior: what was seen over time starts from there."""
    circuit, at, _ = ready("inverting_npn")
    found = diagnose(circuit, Readings(), at=at)
    priors = np.array([h.prior for h in found.hypotheses])
    assert found.posterior.probability / found.posterior.probability.sum() == pytest.approx(priors / priors.sum())


def test_a_table_serves_every_board(ready: Ready) -> None:
    """Boards ranked one after another on one table get the chances that each gets by itself."""
    circuit, at, _ = ready(NPN)
    probes = [Probe(kind="volts", place=net, state="open") for net in ("HEAT_EN", "Q1.B", "DOOR_OPEN")]
    table = table_of(at, [measurement(circuit, probe) for probe in probes])
    for volts in ((0.08, 0.69, 3.03), (4.95, 0.02, 3.03), (4.95, 0.69, 3.0)):
        readings = Readings(readings=tuple(Reading(**dict(p), value=v) for p, v in zip(probes, volts, strict=True)))
        alone = diagnose(circuit, readings, at=at)
        shared = diagnose(circuit, readings, at=at, table=table)
        assert shared.posterior.probability == pytest.approx(alone.posterior.probability, rel=1e-9, abs=1e-12)
        assert shared.posterior.none == pytest.approx(alone.posterior.none, rel=1e-9)


def test_a_check_with_power_off_is_told_where_it_speaks(ranked: Ranked) -> None:
    """Volts alone leave a mechanism to be confirmed; infinite ohms across R1 confirm that it is open."""
    volts = ("HEAT_EN 4.94 @open", "V5 5.0 @open", "DOOR_OPEN 3.27 @open", "R1.2 to Q1.B 0.00 @open")
    _, checked = ranked(NPN, *volts, "R1.1 to R1.2 ohms OL", "R1.2 to Q1.B beep")
    best = checked.hypotheses[0]
    assert best.probability > 0.8
    assert "a check with power off speaks for it: R1.1 to R1.2 OL" in " ".join(str(checked).split())


def test_a_reading_speaks_given_all_others(ranked: Ranked) -> None:
    """Ohms of a rail as they should be, with a part lifted: on a rail that is known to be shorted they convict it."""
    shorted = ("V3V3 1.465 @weighing", "VSW 6.21 @weighing", "V3V3 5.6 ohm")
    _, before = ranked("beehive_scale", *shorted)
    _, after = ranked("beehive_scale", *shorted, "V3V3 3.34k ohm with C2.1 lifted")
    assert chance(before, "C2:short") < 0.5 < chance(after, "C2:short")
    best = after.hypotheses[0]
    assert best.faults == ("C2:short",)
    assert best.predictions[-1].speaks == "for"
    assert "look-alike that no reading" not in str(after)


def test_a_supply_that_is_stuck_at_ground_has_no_spread_of_its_volts(ranked: Ranked) -> None:
    """A rail at 0 V is an absent supply or one stuck low, about as their priors say: 0 V hardly speaks for either."""
    texts = ("V12 0.0 @awake", "V12 0.0 @asleep", "V5 5.01 @asleep", "WAKE_N 3.65 @asleep")
    found, _ = ranked("double_inversion", *texts)
    chance = dict(zip((h.name for h in found.hypotheses), found.posterior.probability, strict=True))
    prior = {h.name: h.prior for h in found.hypotheses}
    odds = chance["V12:absent"] / chance["V12:stuck low"]
    # a rail that is absent stands some 20 mV (SPICE: 18, chords: 40) above ground, through the saturated transistor
    assert 0.4 < odds / (prior["V12:absent"] / prior["V12:stuck low"]) < 1.3


def test_a_joint_that_is_pressed_closed_convicts_it(ranked: Ranked) -> None:
    """What comes right while a pin is pressed is the joint of that pin; what does not, is not."""
    stuck = ("V5 101k ohm", "HEAT_EN 4.95 @open", "Q1_BASE 0.62 @open")
    _, told = ranked("inverting_npn", *stuck, "HEAT_EN 0.10 @open with Q1.C pressed")
    assert told.where[0].place == "Q1.C"
    assert told.where[0].probability > 0.9
    _, told = ranked("inverting_npn", *stuck, "HEAT_EN 4.95 @open with Q1.C pressed")
    assert all(each.probability < 0.02 for each in told.hypotheses if each.faults == ("Q1.C:joint open",))


def test_no_mechanism_is_stated_above_80_percent_before_its_check(ranked: Ranked) -> None:
    """The fields give no probability then, but the check; a reading with power off that speaks for it changes that."""
    powered = ("HEAT_EN 4.95 @open", "Q1_BASE 0.00 @open", "R1.1 3.2 @open")
    for texts, stated in ((powered, False), ((*powered, "R1.1 to R1.2 OL ohm"), True)):
        _, told = ranked("inverting_npn", *texts)
        (suspect,) = (each for each in told.hypotheses if each.faults == ("R1:open",))
        sure = replace(told, hypotheses=(replace(suspect, probability=0.9),))
        what = sure.to_dict()["what"]
        assert (what["faults"], what["stated"]) == (["R1:open"], stated)
        assert what["probability"] == (0.9 if stated else None)
        assert what["confirm"] == suspect.confirm
        assert ("likeliest, not checked yet" in str(sure)) is not stated
        assert replace(told, hypotheses=(replace(suspect, probability=0.7),)).to_dict()["what"]["stated"]
