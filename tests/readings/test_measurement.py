"""What readings do to a board and what displays make of it, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from seqsim.circuit import Circuit, compile_network, copper_patches, parse_circuit, state_gates
from seqsim.network import Patch, SetSide
from seqsim.parts.laws import THERMAL_VOLTS
from seqsim.readings import (
    METER,
    Condition,
    Measurement,
    Number,
    Probe,
    Zone,
    measurement,
    parse_reading,
)
from seqsim.solver import solve

BENCH = """
format: 1
title: Parts on a bench                    # invented scenario
supplies:
  VA: {volts: 10, ohms: 1m, amps: 2}
  VN: {volts: -5, ohms: 1m}
  VS: {volts: 3.3, ohms: 100}
power_states: {on: {on: [VA, VN, VS]}}
parts:
  RL: {kind: resistor, ohms: 100, pins: [VA, GND]}
  RN: {kind: resistor, ohms: 1k, pins: [VN, GND]}
  RS: {kind: resistor, ohms: 1k, pins: [VS, GND]}
  R1: {kind: resistor, ohms: 3k, pins: [X, GND]}
  R2: {kind: resistor, ohms: 6k, pins: [X, GND]}
  R3: {kind: resistor, ohms: 22, pins: [X, Y]}
  R4: {kind: resistor, ohms: 47k, pins: [Y, GND]}
  D1: {kind: diode, saturation_amps: 1e-14, emission: 1, series_ohms: 0, pins: {A: P, K: GND}}
  R5: {kind: resistor, ohms: 1M, pins: [P, GND]}
copper:
  TRACK: {net: X, cuts_off: [R1.1], touch: [R1.1, R2.1]}
"""


@pytest.fixture(scope="module")
def bench() -> Circuit:
    return parse_circuit(BENCH)


def shown(circuit: Circuit, text: str, *faults: Patch) -> float:
    """Solve the board with a reading's patches and return what the display shows."""
    made = measurement(circuit, parse_reading(circuit, text))
    return display(circuit, made, *faults)


def volts(circuit: Circuit, made: Measurement, *faults: Patch) -> float:
    levels = solve(compile_network(circuit), (*faults, *made.patches), state_gates(circuit, made.state))
    return levels.at(made.plus) - levels.at(made.minus)


def display(circuit: Circuit, made: Measurement, *faults: Patch) -> float:
    return float(made.convert(volts(circuit, made, *faults)))


def parallel(*ohms: float) -> float:
    return 1 / sum(1 / each for each in ohms)


def test_ohms_are_those_of_the_network(bench: Circuit) -> None:
    """3 kΩ, 6 kΩ and 22 Ω + 47 kΩ in parallel; 1 nS a node costs a millionth."""
    assert shown(bench, "X 1k ohm") == pytest.approx(parallel(3000, 6000, 47022), rel=1e-4)
    assert shown(bench, "X to Y 22 ohm") == pytest.approx(parallel(22, 47000 + parallel(3000, 6000)), rel=1e-4)
    assert shown(bench, "Y to X 22 ohm") == pytest.approx(shown(bench, "X to Y 22 ohm"))


def test_no_display_shows_less_than_no_ohms(bench: Circuit) -> None:
    """What a spread makes of a path of next to no ohms ends at zero; volts may well be negative."""
    ohms = measurement(bench, parse_reading(bench, "VA 12k ohm"))
    volts = measurement(bench, parse_reading(bench, "VA 5"))
    assert float(ohms.displayed(-0.003)) == 0.0
    assert float(ohms.displayed(0.05)) == float(ohms.convert(0.05)) > 0
    assert float(volts.displayed(-0.003)) == pytest.approx(-0.003)


def test_an_unpowered_supply_is_not_in_the_way(bench: Circuit) -> None:
    """In `off` a supply is an open circuit: its net shows the load alone."""
    assert shown(bench, "VA 100 ohm") == pytest.approx(100, rel=1e-4)


def test_the_ohms_function_does_not_turn_a_silicon_junction_on(bench: Circuit) -> None:
    """1 MΩ beside a junction reads 1 MΩ in both polarities (common practice for ranges of low test voltage)."""
    assert shown(bench, "P 1M ohm") == pytest.approx(1e6, rel=2e-3)
    assert shown(bench, "GND to P 1M ohm") == pytest.approx(1e6, rel=2e-3)


def test_a_diode_test_shows_the_junction_forward_and_overflows_reversed(bench: Circuit) -> None:
    """The law at the test current less what the resistor takes; the chords stay within 30 mV of it."""
    law = THERMAL_VOLTS * math.log(1e-3 / 1e-14)
    assert shown(bench, "P diode 0.65") == pytest.approx(law, abs=0.03)
    reversed_ = measurement(bench, parse_reading(bench, "GND to P diode OL"))
    # through 1 MΩ flow 3 µA: the compliance is all there is, and the display overflows
    assert volts(bench, reversed_) > METER.diode.most_volts
    assert float(reversed_.chance(volts(bench, reversed_), 0.005)) > 0.99
    forward = measurement(bench, parse_reading(bench, "P diode OL"))
    assert float(forward.chance(volts(bench, forward), 0.005)) < 1e-6


def test_a_diode_test_through_a_resistor_shows_the_test_current_times_ohms(bench: Circuit) -> None:
    """1 mA through 22 Ω is 22 mV (the other path carries a thousandth)."""
    assert shown(bench, "X to Y diode 0.022") == pytest.approx(0.022, rel=2e-3)


def test_whole_copper_beeps_and_broken_copper_shows_the_way_round(bench: Circuit) -> None:
    """Touch points of whole copper are one node; broken, the display shows both resistors in series."""
    beep = measurement(bench, parse_reading(bench, "TRACK beep"))
    assert (beep.plus, beep.minus) == ("R1.1", "R2.1")
    assert float(beep.chance(volts(bench, beep), 0.0)) == pytest.approx(1, abs=1e-3)
    broken = copper_patches(bench, "TRACK")
    assert display(bench, beep, *broken) == pytest.approx(3000 + parallel(6000, 47022), rel=1e-4)
    assert float(beep.chance(volts(bench, beep, *broken), 0.0)) < 1e-6
    overflow = measurement(bench, parse_reading(bench, "TRACK OL"))
    assert float(overflow.chance(volts(bench, overflow, *broken), 0.0)) == pytest.approx(1)
    assert float(overflow.chance(volts(bench, overflow), 0.0)) == pytest.approx(0)


def test_supply_current_is_ohms_law(bench: Circuit) -> None:
    """10 V over 100 Ω; a negative supply delivers a positive current too."""
    assert shown(bench, "VA 0.1A") == pytest.approx(0.1, rel=1e-4)
    assert shown(bench, "VN 5mA") == pytest.approx(5e-3, rel=1e-4)
    assert shown(bench, "VS 3mA") == pytest.approx(3.3 / 1100, rel=1e-4)


@pytest.mark.parametrize(("supply", "ohms"), [("VA", 100.0), ("VN", 1000.0)])
def test_a_limit_set_by_hand_holds_the_current(bench: Circuit, supply: str, ohms: float) -> None:
    """Above the limit nothing changes, below it the current is the limit and the rail falls to it times ohms."""
    healthy = {"VA": 0.1, "VN": 5e-3}[supply]
    for amps in (2 * healthy, healthy / 4):
        done = f"with {supply} limited {amps}A"
        expected = min(healthy, amps)
        assert shown(bench, f"{supply} {healthy}A {done}") == pytest.approx(expected, rel=1e-3)
        assert abs(shown(bench, f"{supply} to GND 1 {done}")) == pytest.approx(expected * ohms, rel=1e-3)
        limit = measurement(bench, parse_reading(bench, f"{supply} limit {done}"))
        chance = float(limit.chance(volts(bench, limit), 0.0))
        assert chance == pytest.approx(1.0 if amps < healthy else 0.0, abs=5e-3)


def test_the_limit_of_the_circuit_file_is_that_of_the_word(bench: Circuit) -> None:
    """Without a limit by hand, `limit` means the supply's own."""
    made = measurement(bench, parse_reading(bench, "VA limit"))
    assert isinstance(made.observed, Zone)
    assert made.observed.low == pytest.approx(0.97 * 2)
    assert float(made.chance(volts(bench, made), 0.0)) < 1e-9


def test_interventions_do_to_the_board_what_they_say(bench: Circuit) -> None:
    """Closed forms of forcing, jumpering, lifting, removing and pulling."""
    node = parallel(3000, 6000, 47022)
    loaded = parallel(node, 10e6)
    assert shown(bench, "X 2.5 with X forced 3.3V 1k") == pytest.approx(3.3 * loaded / (1000 + loaded), rel=1e-4)
    assert shown(bench, "X 9 with X forced VA 1k") == pytest.approx(10 * loaded / (1000 + loaded), rel=1e-3)
    assert shown(bench, "X to Y 22 ohm with X jumpered to GND") == pytest.approx(parallel(22, 47000.05), rel=1e-3)
    assert shown(bench, "X 1k ohm with R1 lifted") == pytest.approx(parallel(6000, 47022), rel=1e-4)
    assert shown(bench, "X 1k ohm with R1 removed and R2.1 lifted") == pytest.approx(47022, rel=1e-3)
    assert shown(bench, "VA 0 with VA pulled") == pytest.approx(0, abs=1e-6)


def test_a_lifted_pin_is_metal_in_the_air(bench: Circuit) -> None:
    """A tip on a lifted pin reads that pin, a tip on its pad the rest of the net."""
    assert shown(bench, "R1.1 3k ohm with R1.1 lifted") == pytest.approx(3000, rel=1e-4)
    assert shown(bench, "R1.1/pad 5k ohm with R1.1 lifted") == pytest.approx(parallel(6000, 47022), rel=1e-4)


def test_a_chip_without_its_ground_is_off() -> None:
    """A lifted ground pin turns its chip off, another pin does not."""
    board = parse_circuit(
        "format: 1\ntitle: one gate\nsupplies: {V5: {volts: 5}}\npower_states: {on: {on: [V5]}}\nparts:\n"
        "  U1: {kind: buffer, family: hc, pins: {A: V5, Y: X, VCC: V5, GND: GND}}\n"
        "  R1: {kind: resistor, ohms: 10k, pins: [X, GND]}\n"
    )
    assert shown(board, "X 5") == pytest.approx(5.0, abs=0.05)
    assert abs(shown(board, "X 0 with U1.GND lifted")) < 0.1
    lifted = parse_reading(board, "X 0 with U1.GND lifted").interventions[0]
    assert SetSide("U1", "supply", above=False) in lifted.patches()
    assert len(parse_reading(board, "X 0 with U1.A lifted").interventions[0].patches()) == 1


@pytest.mark.parametrize(
    ("text", "value", "written"),
    [
        ("X 0.02", 0.02, 0.01 / math.sqrt(12)),
        ("X 2", 2.0, 1 / math.sqrt(12)),
        ("X about 2.0", 2.0, math.hypot(0.2, 0.1 / math.sqrt(12))),
        ("X 0.1..0.3", 0.2, 0.2 / math.sqrt(12)),
        ("X 9k2 ohm", 9200.0, 100 / math.sqrt(12)),
    ],
)
def test_noise_holds_what_writing_leaves_open(bench: Circuit, text: str, value: float, written: float) -> None:
    """Half a last digit, a range's width, a tenth for `about`; the meter's own digits come on top."""
    made = measurement(bench, parse_reading(bench, text))
    assert isinstance(made.observed, Number)
    assert made.observed.value == pytest.approx(value)
    assert made.observed.sd == pytest.approx(written)
    function = METER.ohms if text.endswith("ohm") else METER.volts
    assert float(made.noise_sd(value)) == pytest.approx(math.hypot(written, float(function.digit_sd(value))))
    assert float(made.gain_sd(value)) == pytest.approx(0.008 / math.sqrt(3))


def test_readings_of_one_function_share_their_gain(bench: Circuit) -> None:
    """Two voltages have one unknown gain, ohms another; words without a meter have none."""
    latents = [
        measurement(bench, parse_reading(bench, text)).latent for text in ("X 1", "Y 2", "X 1k ohm", "X high", "R1 hot")
    ]
    assert latents[0] == latents[1] is not None
    assert latents[2] not in (None, latents[0])
    assert latents[3:] == [None, None]


def test_a_probe_is_a_reading_without_value(bench: Circuit) -> None:
    """What is on offer has the patches and places of the reading, and nothing observed."""
    reading = parse_reading(bench, "X to Y 22 ohm with R1 lifted")
    taken, offered = measurement(bench, reading), measurement(bench, reading.probe())
    assert isinstance(reading.probe(), Probe)
    assert offered.observed is None
    assert (offered.patches, offered.plus, offered.minus) == (taken.patches, taken.plus, taken.minus)
    with pytest.raises(TypeError, match="needs a word"):
        offered.chance(0.0, 1.0)


def test_words_without_volts_are_conditions_or_heat(bench: Circuit) -> None:
    """Floating is a condition of the node, hot a dissipation of the part; neither adds anything to the board."""
    floating = measurement(bench, parse_reading(bench, "X floating"))
    assert floating.observed == Condition("floating")
    hot = measurement(bench, parse_reading(bench, "R1 hot"))
    assert hot.part == "R1"
    assert floating.patches == hot.patches == ()
    assert float(hot.chance(1.0, 0.0)) > 0.97
    assert float(hot.chance(0.01, 0.0)) < 0.01


def test_high_and_low_are_shares_of_the_largest_prediction(bench: Circuit) -> None:
    """Above 70 % of what any hypothesis predicts is high, below 30 % low."""
    high = measurement(bench, parse_reading(bench, "X high"))
    low = measurement(bench, parse_reading(bench, "X low"))
    at = np.array([0.1, 1.65, 3.2])
    assert high.chance(at, 0.01, largest=3.3).round(2).tolist() == [0, pytest.approx(0, abs=0.05), 1]
    assert low.chance(at, 0.01, largest=3.3).round(2).tolist() == [1, 0, 0]


def test_interventions_bring_their_cautions(bench: Circuit) -> None:
    """Each thing done to the board adds its caution once."""
    made = measurement(bench, parse_reading(bench, "X 1 with R1 lifted and R2 lifted and VA limited 1A"))
    assert made.caution.count("stored charge drained") == 1
    assert "Set the limit before" in made.caution
