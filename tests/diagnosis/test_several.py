"""Several faults at once: found where no single one explains the readings, silent where one does."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from seqsim.circuit import Circuit, library, parse_circuit, read_circuit
from seqsim.diagnosis import Diagnosis, Ranking, diagnose
from seqsim.diagnosis.branches import branches_of
from seqsim.diagnosis.conditions import desk
from seqsim.diagnosis.hypotheses import LISTED_PRIOR, Sort
from seqsim.diagnosis.killed import BEARS_WATTS, heat, is_short, killed_by
from seqsim.diagnosis.report import ranking
from seqsim.diagnosis.several import set_of
from seqsim.faults import find_fault, single_faults
from seqsim.faults.together import KILLS, SECOND
from seqsim.readings import Readings, parse_reading

Ranked = Callable[..., tuple[Diagnosis, Ranking]]

INVERTERS = "double_inversion"
BOTH_BROKEN = (
    "WAKE 3.0 @awake",
    "Q1_BASE 0.0 @awake",
    "WAKE_N 3.6 @awake",
    "MODEM_EN 0.0 @awake",
    "MODEM_EN 0.0 @asleep",
)
"""Q1's base lies at ground, so WAKE_N stays at 3.6 V; that pulls MODEM_EN low as it should while awake, but asleep
nothing but a second fault explains why it is low: Q2 is as it should be."""

HIGH_SIDE = parse_circuit(
    """
format: 1
supplies: {V12: {volts: 12, ohms: 0.02, amps: 20}, ON: {volts: 3.3, ohms: 100}}
power_states: {running: {on: [V12, ON]}}
parts:
  R1: {kind: resistor, ohms: 10k, pins: [V12, GATE]}
  R2: {kind: resistor, ohms: 1k, pins: [ON, BASE]}
  Q1: {kind: npn, pins: {B: BASE, C: GATE, E: GND}}
  M1: {kind: pmos, model: pmos-power, pins: {G: GATE, D: OUT, S: V12}}
  LD1: {kind: load, ohms: 120, pins: [OUT, GND]}
""",
    "high_side.yaml",
)
SHORTED = "OUT:short to GND"


def on(circuit: Circuit, *texts: str, several: float = 1.0) -> tuple[Diagnosis, Ranking]:
    """Rank readings in shorthand."""
    taken = tuple(parse_reading(circuit, text) for text in texts)
    found = diagnose(circuit, Readings(readings=taken), factors={"several": several})
    return found, ranking(found, taken)


def test_two_independent_faults_are_found_together(ready: Callable[[str], tuple[Circuit, object, object]]) -> None:
    """A base at ground and a pull-up that is missing: no single fault explains both, and the pair stands first."""
    circuit, _, _ = ready(INVERTERS)
    _, found = on(circuit, *BOTH_BROKEN, "WAKE_N 3.6 @asleep", "Q2_BASE 0.0 @asleep", "Q2_BASE 0.0 @awake")
    first = found.hypotheses[0]
    assert len(first.faults) == 2
    assert first.readings_explained == first.readings_total
    assert sum(each.probability for each in found.hypotheses if len(each.faults) == 1) < 0.05
    assert sum(each.probability for each in found.hypotheses) + found.none_of_these == pytest.approx(1.0)
    assert found.where[0].group == first.group
    assert " and " in found.where[0].place


def test_a_set_is_told_with_the_checks_and_repairs_of_all_its_faults(ranked: Ranked) -> None:
    """Each fault of a set is named before its check, and each repair is told."""
    found, shown = ranked(INVERTERS, *BOTH_BROKEN, "WAKE_N 3.6 @asleep", "Q2_BASE 0.0 @asleep", "Q2_BASE 0.0 @awake")
    first = shown.hypotheses[0]
    for name in first.faults:
        fault = find_fault(found.desk.circuit, name)[0]
        assert f"{name}: {fault.confirm}" in first.confirm
        assert fault.repair in first.repair
        assert name in str(shown)


def test_sets_are_silent_where_a_single_fault_explains_all(ranked: Ranked) -> None:
    """An open pull-up explains a low collector by itself: no set is listed beside it."""
    _, found = ranked("inverting_npn", "HEAT_EN 0.00 @shut", "V5 5.00 @shut", "Q1.B 0.00 @shut", "Q1.B 0.69 @open")
    assert found.hypotheses[0].faults
    assert max(len(each.faults) for each in found.hypotheses) == 1


def test_sets_that_read_the_same_stand_together(ranked: Ranked) -> None:
    """A joint open and the part open are one in a pair, too; each pair is in one group, and no group has all."""
    found, shown = ranked(INVERTERS, *BOTH_BROKEN, "WAKE_N 3.6 @asleep", "Q2_BASE 0.0 @asleep", "Q2_BASE 0.0 @awake")
    likely = [set(each.faults) for each in shown.hypotheses if each.group == shown.where[0].group]
    assert len(likely) > 1
    assert all(len(faults) == 2 for faults in likely)
    sets = {h.name: {fault.name for fault in h.faults} for h in found.hypotheses if h.sort is Sort.SEVERAL}
    assert len({found.alike.group[name] for name in sets}) > 1
    for name, faults in sets.items():
        twin = {fault.replace(":open", ".1:joint open") for fault in faults}
        for other in (other for other, theirs in sets.items() if theirs == twin != faults):
            assert found.alike.group[name] == found.alike.group[other]


def test_a_short_heats_what_carries_its_current() -> None:
    """12 V through a power MOSFET into a short: the MOSFET is beyond what it bears, a pull-up of 10 kΩ is not."""
    at = desk(HIGH_SIDE)
    short, _ = find_fault(HIGH_SIDE, SHORTED)
    (watts,) = heat(at, [short.patches(1.0)])
    assert watts["M1"] > BEARS_WATTS > watts.get("R1", 0.0)


def test_what_a_short_kills_shares_its_prior() -> None:
    """The ways in which M1 dies of the short share the chance of one in five; nothing else is killed by it."""
    short, _ = find_fault(HIGH_SIDE, SHORTED)
    killed = killed_by(desk(HIGH_SIDE), [short])
    faults = single_faults(HIGH_SIDE)
    dead = [fault for fault in faults if killed.prior([short, fault])]
    assert {fault.place for fault in dead} == {"M1"}
    assert sum(killed.prior([short, fault]) for fault in dead) == pytest.approx(KILLS * short.prior)


def test_only_contacts_kill() -> None:
    """A short, a bridge or a shorted part lets current flow; an open joint, a leak or an open part does not."""
    faults = single_faults(HIGH_SIDE)
    short = {fault.name for fault in faults if is_short(fault)}
    assert {SHORTED, "M1:D-S short", "Q1:C-E short", "M1:G-D bridged"} & {fault.name for fault in faults} <= short
    assert not {"M1.D:joint open", "OUT:leak to GND", "R1:open"} & short


def test_a_short_and_the_driver_that_it_killed() -> None:
    """OUT reads 1 Ω to ground, yet the supply gives next to nothing: M1 is open as well, and the pair stands first."""
    found, shown = on(HIGH_SIDE, "OUT 1.0 ohm", "V12 0.001A", "V12 12.0", "GATE 0.05", "BASE 0.7", "OUT 0.0")
    first = shown.hypotheses[0]
    assert set(first.faults) == {"M1:dead", "LD1:short"}
    pair = next(h for h in found.hypotheses if {fault.name for fault in h.faults} == {SHORTED, "M1:dead"})
    short, dead = (find_fault(HIGH_SIDE, name)[0] for name in (SHORTED, "M1:dead"))
    assert pair.prior > 10 * LISTED_PRIOR * SECOND * short.prior * dead.prior


def test_a_history_in_which_faults_meet_lists_them_beside_a_single_one() -> None:
    """If a board often has several faults, sets that explain all are weighed although a single fault does too."""
    rare, _ = on(HIGH_SIDE, "OUT 0.0", "GATE 12.0", "BASE 0.0")
    often, _ = on(HIGH_SIDE, "OUT 0.0", "GATE 12.0", "BASE 0.0", several=10.0)
    assert not [h for h in rare.hypotheses if h.sort is Sort.SEVERAL]
    assert all(h.prior > 0 for h in often.hypotheses)


def test_three_faults_at_once() -> None:
    """Three branches, each with its own supply and two equal resistors, all three open: no pair explains that."""
    parts = "\n".join(
        f"  R{k}{which}: {{kind: resistor, ohms: 1k, pins: [{pins}]}}"
        for k in (1, 2, 3)
        for which, pins in ((1, f"S{k}, N{k}"), (2, f"N{k}, GND"))
    )
    board = parse_circuit(
        "format: 1\nsupplies: {S1: {volts: 5}, S2: {volts: 5}, S3: {volts: 5}}\n"
        f"power_states: {{on: {{on: [S1, S2, S3]}}}}\nparts:\n{parts}\n",
        "three.yaml",
    )
    _, found = on(board, *(f"S{k} 5.00" for k in (1, 2, 3)), *(f"N{k} 0.00" for k in (1, 2, 3)))
    first = found.hypotheses[0]
    assert len(first.faults) == 3
    assert {name[1] for name in first.faults} == {"1", "2", "3"}


def test_a_set_looks_the_same_whatever_it_is_looked_at_with() -> None:
    """Where one set has two severities and another none, each has the branches that it has by itself."""
    circuit = read_circuit(library()[INVERTERS])
    at = desk(circuit)
    faults = {fault.name: fault for fault in single_faults(circuit)}
    pairs = [("R1:high", "R4:high"), ("R1:open", "R3:low"), ("R2:low", "Q2.B:joint open")]
    sets = [set_of([faults[one], faults[other]], 1e-3) for one, other in pairs]
    states = list(circuit.power_states)
    together_ = branches_of(at, sets, states, 6)
    for k, each in enumerate(sets):
        alone = branches_of(at, [each], states, 6)
        mine = [branch for branch in together_ if branch.hypothesis == k]
        assert [(b.weight, b.extra) for b in mine] == [(b.weight, b.extra) for b in alone]
        for one, other in zip(mine, alone, strict=True):
            for state in circuit.power_states:
                assert np.array_equal(one.starts[state].conducting, other.starts[state].conducting)


def test_a_job_of_many_readings_ends_where_all_at_once_do() -> None:
    """What was worked out for the readings before changes nothing."""
    circuit = read_circuit(library()[INVERTERS])
    texts = (*BOTH_BROKEN, "WAKE_N 3.6 @asleep", "Q2_BASE 0.0 @asleep")
    taken = tuple(parse_reading(circuit, text) for text in texts)
    job, once = desk(circuit), desk(circuit)
    for count in range(3, len(taken) + 1):
        step_by_step = diagnose(circuit, Readings(readings=taken[:count]), factors={"several": 1.0}, at=job)
    at_once = diagnose(circuit, Readings(readings=taken), factors={"several": 1.0}, at=once)
    assert len(job.sets) == len(once.sets) == 1
    assert [h.name for h in step_by_step.hypotheses] == [h.name for h in at_once.hypotheses]
    assert step_by_step.posterior.probability == pytest.approx(at_once.posterior.probability, abs=1e-9)
