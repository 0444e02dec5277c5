"""Supervisors: thresholds, valid output at low supply, MR, polarity, failure modes."""

from __future__ import annotations

import pytest
from bench import Bench

from seqsim.parts.resistor import Resistor
from seqsim.parts.supervisor import Supervisor
from seqsim.solver.state import Levels

PULL_DOWN = Resistor(name="RD", ohms=100e3, pins={"1": "OUT", "2": "GND"})
PULL_UP = Resistor(name="RU", ohms=100e3, pins={"1": "V9", "2": "OUT"})


def supervisor(*pins: str, **values: object) -> Supervisor:
    named = {"OUT": "OUT", "VCC": "V", "GND": "GND"} | {pin: pin for pin in pins}
    return Supervisor(name="U1", pins=named, **values)


def levels(made: Supervisor, volts: float, pull: Resistor = PULL_DOWN, **more: float) -> Levels:
    return Bench({"V": volts, "V9": 3.0, **more}, [made, pull]).solve()


@pytest.mark.law("supervisor")
@pytest.mark.parametrize(
    ("threshold", "least", "most"),
    [("2.93V", 2.89, 2.96), ("4.63V", 4.56, 4.69), ("4.38V", 4.31, 4.44), ("3.08V", 3.04, 3.12), ("2.63V", 2.59, 2.67)],
)
def test_thresholds_of_the_three_pin_family(threshold: str, least: float, most: float) -> None:
    """Below the least threshold it asserts, above the most it has let go (2.93 V: 2.89 to 2.96 V at 25 °C).

    Source: MAX803/809/810 data sheet (19-0344); limits of the other thresholds at its ±1.2 to 1.5 %.
    """
    made = supervisor(threshold=threshold)
    assert levels(made, least).at("OUT") < 0.05
    assert levels(made, most).at("OUT") == pytest.approx(most, abs=0.05)
    assert 3 * made.spread_of("threshold") == pytest.approx(0.012)


@pytest.mark.parametrize(
    ("output", "active", "healthy", "low"),
    [
        ("push-pull", "low", 5.0, 0.0), ("push-pull", "high", 0.0, 4.0),
        ("open-drain", "low", 3.0, 0.0), ("open-drain", "high", 0.0, 3.0),
    ],
)  # fmt: skip
def test_outputs_and_polarities(output: str, active: str, healthy: float, low: float) -> None:
    """Released and asserted levels of all four outputs (809: push-pull low, 803: open-drain, 810: active high)."""
    made = supervisor(threshold="4.38V", output=output, active=active)
    pull = PULL_UP if output == "open-drain" else PULL_DOWN
    assert levels(made, 5.0, pull).at("OUT") == pytest.approx(healthy, abs=0.05)
    assert levels(made, 4.0, pull).at("OUT") == pytest.approx(low, abs=0.05)


def test_the_output_is_valid_down_to_one_volt() -> None:
    """Asserted low from 1.0 V of supply on (data sheet 19-0344); below, nothing holds it."""
    made = supervisor(threshold="2.93V")
    assert levels(made, 1.1, PULL_UP).at("OUT") < 0.01
    assert levels(made, 0.8, PULL_UP).at("OUT") > 0.7


def test_manual_reset_asserts_and_is_pulled_up_inside() -> None:
    """MR at ground asserts, an open MR does not (supervisor data sheets; TPS3808E-Q1, SFFS768)."""
    made = supervisor("MR", threshold="2.93V")
    assert levels(made, 3.3).at("OUT") > 3.2
    assert levels(made, 3.3, MR=0.0).at("OUT") < 0.05


def test_a_separate_sense_pin_is_watched_instead_of_the_supply() -> None:
    """With SENSE connected, VCC only feeds it."""
    made = supervisor("SENSE", threshold="4.38V")
    assert levels(made, 3.3, SENSE=5.0).at("OUT") > 3.2
    assert levels(made, 3.3, SENSE=4.0).at("OUT") < 0.05


def test_release_is_late_and_assertion_is_not() -> None:
    """The delay stands on the release of the output: at least 140 ms in the family, 240 ms typical."""
    made = supervisor(threshold="2.93V")
    (rule,) = Bench({"V": 3.3}, [made]).network.rules
    assert rule.delays == {"U1:OUT high": (0.24, 0.0), "U1:OUT low": (0.0, 0.24)}


@pytest.mark.parametrize(
    ("mode", "severity", "volts", "high"),
    [
        ("stays asserted", 0.0, 5.0, False), ("never asserts", 0.0, 4.0, True), ("threshold high", 0.3, 5.0, False),
        ("threshold low", 0.3, 4.0, True), ("OUT open", 0.0, 5.0, False), ("OUT stuck low", 0.0, 5.0, False),
        ("OUT stuck high", 0.0, 4.0, True), ("MR stuck low", 0.0, 5.0, False), ("dead", 0.0, 5.0, False),
    ],
)  # fmt: skip
def test_modes_do_what_they_say(mode: str, severity: float, volts: float, *, high: bool) -> None:
    """Each failure of a push-pull, active-low supervisor gives the level that its name promises."""
    made = supervisor("MR", threshold="4.38V")
    found = next(each for each in made.modes() if each.name == mode)
    bench = Bench({"V": volts}, [made, PULL_DOWN])
    assert (bench.solve(*found.patches(severity)).at("OUT") > 3.0) == high


def test_shares_sum_to_one() -> None:
    """The shares of all modes add up to one."""
    assert sum(mode.share for mode in supervisor("MR", threshold=3).modes()) == pytest.approx(1)
