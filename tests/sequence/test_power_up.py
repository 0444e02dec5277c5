"""The answer to a power-up: order, first missing, what it waits for, events, what depends on tolerances."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from rail_pair import CHAIN

from seqsim.circuit import Circuit
from seqsim.errors import QuantityError, UnknownPlaceError
from seqsim.sequence import power_up, reached, seconds_of


def test_healthy_order(chain: Circuit) -> None:
    """Rails come up in their order, at the times that delays and ramps add up to."""
    result = power_up("chain", chain, draws=0)
    first, second = result.rails
    assert [rail.verdict for rail in result.rails] == ["up", "up"]
    assert result.first_missing is None
    assert result.waits_for is None
    assert first.up_at == pytest.approx(20e-3 + 1e-3 + 0.95 * 2e-3, rel=0.05)
    assert first.up_at is not None
    assert second.up_at == pytest.approx(first.up_at + 1e-3 + 0.95 * 2e-3, rel=0.02)
    assert result.target is not None
    assert result.target.high_at is not None
    assert second.up_at is not None
    assert result.target.high_at == pytest.approx(second.up_at + 30e-3, abs=0.5e-3)


def test_events_in_words(chain: Circuit) -> None:
    """The events tell enables, starts, power-goods, rails and the target, each after what caused it."""
    told = " | ".join(event.what for event in power_up("chain", chain, draws=0).events)
    wanted = [
        "power state waiting, VIN applied", "power state going", "GO applied", "V5 enabled", "U1 starts V5", "V5 up",
        "PG5 released by U1", "V3 enabled", "U2 starts V3", "V3 up", "RESET released by U3", "RESET high",
    ]  # fmt: skip
    places = [told.index(words) for words in wanted]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("fault", "missing", "words"),
    [
        ("U1:no output", "V5", ("U1 to start",)),
        ("GO:absent", "V5", ("GO to rise above 1.200 V at U1",)),
        ("VIN:absent", "V5", ("VIN to reach U1",)),
        ("R1:open", "V3", ("PG5 to rise above 1.200 V at U2",)),
        ("U1:PG never releases", "V3", ("PG5 to rise", "U1 holds it low, V5 is 4.999 V")),
        ("U2:EN stuck low", "V3", ("PG5 to rise above",)),
        ("V3:short to GND, 0.5 Ω", "V3", ("U2 is in its current limit",)),
        ("U1:out of spec x0.6", "V5", ("U1, which is on and gives",)),
    ],
)
def test_first_missing(chain: Circuit, fault: str, missing: str, words: tuple[str, ...]) -> None:
    """The first rail that is missing is named, with the condition that it waits for."""
    result = power_up("chain", chain, [fault], draws=0)
    assert result.first_missing == missing
    for word in words:
        assert word in (result.waits_for or "")
    assert result.target is not None


def test_what_holds_the_target(chain: Circuit) -> None:
    """Where every rail is up and the target is not, the device that holds it is named."""
    result = power_up("chain", chain, ["U3:stays asserted"], draws=0)
    assert result.first_missing is None
    assert result.target is not None
    assert result.target.high_at is None
    assert "U3 holds RESET low" in result.target.held_by


def test_late_rail(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that comes up much later than on the healthy board is called late; an aged pull-up slows its enable."""
    pull_up = "R1: {kind: resistor, ohms: 10k, pins: [V5, PG5]}"
    text = CHAIN.replace(pull_up, f"{pull_up}\n  C8: {{kind: capacitor, farads: 1u, pins: [PG5, GND]}}")
    healthy, late = (power_up("late", circuit_of(text), faults, draws=0) for faults in ((), ("R1:high x20",)))
    assert [rail.verdict for rail in healthy.rails] == ["up", "up"]
    assert [rail.verdict for rail in late.rails] == ["up", "late"]
    assert late.first_missing is None


def test_collapse(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that starts and is dragged down with its weak supply is told as pulsing or collapsing, with a period."""
    text = CHAIN.replace("VIN: {volts: 12, ohms: 0.05}", "VIN: {volts: 12, ohms: 100, amps: 0.05}").replace(
        "start_delay: 1ms, ramp: 2ms, power_good: [93%, 110%]",
        "start_delay: 1ms, ramp: 2ms, undervoltage: 9V, restart_delay: 10ms",
    )
    text = text.replace(
        "C1: {kind: capacitor", "C9: {kind: capacitor, farads: 22u, pins: [VIN, GND]}\n  C1: {kind: capacitor"
    )
    result = power_up("weak", circuit_of(text.replace("ohms: 50, pins: [V5", "ohms: 5, pins: [V5")), draws=0)
    assert result.first_missing == "V5"
    assert result.rails[0].verdict in ("pulsing", "starts and collapses", "low")
    assert "to stay on" in (result.waits_for or "") or "undervoltage" in str(result.events)
    assert any(0.01 < o.period < 0.1 and o.times > 3 for o in result.oscillations)


def test_hiccup(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail shorted through some ohms starts and collapses, with the period of its regulator's hiccup."""
    text = CHAIN.replace(
        "volts: 5, start_delay", "volts: 5, amps: 2, overload: hiccup, hiccup_pause: 10ms, start_delay"
    )
    circuit = circuit_of(text)
    result = power_up("chain", circuit, ["V5:short to GND, 0.5 Ω"], draws=0)
    first = result.rails[0]
    assert (first.came_up, first.verdict) == (False, "pulsing")
    assert result.waits_for is not None
    assert "less load on V5: U1 stops after each overload" in result.waits_for
    told = [event.what for event in result.events]
    assert any("U1 overloaded" in what and "U1 stops V5" in what for what in told)
    (swings,) = (o for o in result.oscillations if "U1" in o.what)
    limited = 2e-3 * 0.98 * 2 * 0.5 * 50 / 50.5 / 5
    assert swings.period == pytest.approx(1e-3 + 10e-3 + 1e-3 + limited, rel=0.01)
    assert power_up("chain", circuit, draws=0).rails[0].verdict == "up"


def test_until(chain: Circuit) -> None:
    """A run that ends early tells which power states it did not reach."""
    result = power_up("chain", chain, until=10e-3, draws=0)
    assert result.skipped == ("going",)
    assert result.first_missing == "V5"
    assert all(event.seconds <= 10e-3 for event in result.events)


def test_down(chain: Circuit) -> None:
    """On request the states are gone through backwards: the rails go down, and the events tell it."""
    result = power_up("chain", chain, down=True, draws=0)
    assert [name for name, _ in result.states] == ["waiting", "going", "waiting", "off"]
    told = [event.what for event in result.events]
    assert any("GO taken away" in what for what in told)
    assert any("V3 no longer up" in what for what in told)
    assert all(rail.came_up for rail in result.rails)


def test_turned_off_again(circuit_of: Callable[[str], Circuit]) -> None:
    """A rail that a later power state turns off was up all the same, and is missing for what it waited for before."""
    going = "  going: {on: [VIN, GO], after: 20ms}\n"
    text = CHAIN.replace(going, f"{going}  resting: {{on: [VIN], after: 100ms}}\n")
    healthy, broken = (power_up("rest", circuit_of(text), faults, draws=2) for faults in ((), ["U1:no output"]))
    assert [(rail.came_up, rail.verdict) for rail in healthy.rails] == [(True, "up, then off")] * 2
    assert (healthy.first_missing, [rail.odds for rail in healthy.rails]) == (None, [1.0, 1.0])
    assert healthy.rails[0].final < 0.1
    assert broken.first_missing == "V5"
    assert "U1 to start" in (broken.waits_for or "")


def test_race(circuit_of: Callable[[str], Circuit]) -> None:
    """Two equal rails started by the same signal race: each comes first on a part of the boards."""
    text = CHAIN.replace("EN: PG5", "EN: GO").replace("IN: V5, EN", "IN: VIN, EN")
    text = text.replace(
        "volts: 3.3, start_delay: 1ms, ramp: 2ms", "volts: 3.3, start_delay: 1ms, ramp: 2ms, dropout: 0.1"
    )
    (race,) = power_up("race", circuit_of(text), draws=16).races
    assert (race.first, race.second) == ("V5", "V3")
    assert 0 < race.odds < 1


def test_no_race_without_reason(chain: Circuit) -> None:
    """Where one rail starts the next, no board has them the other way round, and every board comes up."""
    result = power_up("chain", chain, draws=8)
    assert result.races == ()
    assert [rail.odds for rail in result.rails] == [1.0, 1.0]


def test_fields(chain: Circuit) -> None:
    """The documented fields are there and survive JSON."""
    fields = json.loads(power_up("chain", chain, ["U1:no output"], draws=2).to_json())
    assert {"schema", "circuit", "faults", "rails", "first_missing", "waits_for", "target", "events", "rules"} <= {
        *fields
    }
    assert {"net", "nominal", "up_at_s", "final_volts", "came_up"} <= {*fields["rails"][0]}
    assert {"net", "high_at_s", "final_volts"} <= {*fields["target"]}
    assert {"t_s", "what"} == {*fields["events"][0]}
    assert fields["rails"][0]["up_at_s"] is None
    assert fields["faults"] == ["U1:no output"]


def test_same_every_time(chain: Circuit) -> None:
    """Draws are seeded: the same question has the same answer."""
    assert power_up("chain", chain, draws=4).to_dict() == power_up("chain", chain, draws=4).to_dict()


LATCH = """\
format: 1
title: A latch of two transistors, invented for the tests
supplies:
  VIN: {volts: 5, ohms: 0.05}
  SET: {volts: 3.3, ohms: 100, idle: low}
power_states:
  before: {on: [VIN]}
  pressed: {on: [VIN, SET], after: 20ms, ramp: 10us}
  after: {on: [VIN], after: 20ms}
parts:
  R1: {kind: resistor, ohms: 4k7, pins: [SET, B1]}
  R2: {kind: resistor, ohms: 10k, pins: [B1, GND]}
  Q1: {kind: npn, pins: {B: B1, C: C1, E: GND}}
  R3: {kind: resistor, ohms: 4k7, pins: [VIN, B2]}
  R4: {kind: resistor, ohms: 4k7, pins: [B2, C1]}
  Q2: {kind: pnp, pins: {B: B2, C: HELD, E: VIN}}
  R5: {kind: resistor, ohms: 4k7, pins: [HELD, B1]}
  R6: {kind: resistor, ohms: 10k, pins: [HELD, GND]}
target: HELD
"""


def test_latch_remembers(circuit_of: Callable[[str], Circuit]) -> None:
    """A discrete latch is set by a pulse and stays set: the course decides which stable state a power state is in."""
    circuit = circuit_of(LATCH)
    result = power_up("latch", circuit, draws=0)
    assert result.target is not None
    assert result.target.high_at == pytest.approx(20e-3, abs=1e-3)
    assert reached(circuit, "before").at("HELD") == pytest.approx(0.0, abs=0.05)
    assert reached(circuit, "after").at("HELD") == pytest.approx(5.0, abs=0.3)


def test_latch_that_never_sets(circuit_of: Callable[[str], Circuit]) -> None:
    """With its feedback open, the same latch rises while it is pressed and falls again."""
    result = power_up("latch", circuit_of(LATCH), ["R5:open"], draws=0)
    assert result.target is not None
    assert result.target.high_at is None
    ((rises, falls),) = result.target.spans
    assert rises == pytest.approx(20e-3, abs=1e-3)
    assert falls == pytest.approx(40e-3, abs=1e-3)
    assert "falls again" in str(result)


def test_bad_questions(chain: Circuit) -> None:
    """Times without meaning, unknown faults and states are refused in one sentence."""
    for text in ("0", "-1ms", "soon", "2e9"):
        with pytest.raises(QuantityError):
            seconds_of(text)
    assert seconds_of("200ms") == pytest.approx(0.2)
    assert seconds_of(None) is None
    with pytest.raises(UnknownPlaceError, match="no fault"):
        power_up("chain", chain, ["U7:dead"])
    with pytest.raises(UnknownPlaceError, match="no power state"):
        reached(chain, "flying")
