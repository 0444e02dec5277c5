"""Comparators: sides, hysteresis, output stage, failure modes."""

from __future__ import annotations

import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st

from seqsim.parts.comparator import Comparator
from seqsim.parts.resistor import Resistor

PULL_UP = Resistor(name="RP", ohms=1.15e3, pins={"1": "V", "2": "OUT"})


def comparator(**values: object) -> Comparator:
    pins = {"INP": "INP", "INN": "INN", "OUT": "OUT", "VCC": "V", "GND": "GND"}
    return Comparator(name="U1", pins=pins, **values)


@pytest.mark.law("comparator")
@settings(max_examples=30, deadline=None)
@given(plus=st.floats(0, 3.5), minus=st.floats(0, 3.5), output=st.sampled_from(["push-pull", "open-drain"]))
def test_the_output_tells_which_input_is_higher(plus: float, minus: float, output: str) -> None:
    """Above by 10 mV or more (twice the LM393's largest offset): high; below: low."""
    if abs(plus - minus) < 0.01:
        plus = minus + 0.01
    bench = Bench({"V": 5.0, "INP": plus, "INN": minus}, [comparator(output=output), PULL_UP])
    assert (bench.solve().at("OUT") > 4.9) == (plus > minus)


def test_a_low_output_sinks_four_milliamperes_like_the_lm393() -> None:
    """VOL at 4 mA is typically 80 to 250 mV and at most 400 mV (LM393 data sheets)."""
    level = Bench({"V": 5.0, "INP": 0.0, "INN": 1.0}, [comparator(), PULL_UP]).solve().at("OUT")
    assert 0.08 < level < 0.25


def test_offset_spread_covers_the_data_sheet() -> None:
    """5 mV are three standard deviations of the input offset (LM393 data sheets)."""
    bench = Bench({"V": 5.0}, [comparator()])
    assert bench.network.knobs["U1", "offset"].spread == pytest.approx(5e-3 / 3)


def test_hysteresis_keeps_the_side() -> None:
    """With 100 mV of hysteresis, 20 mV above the other input does not change what the output was."""
    made = comparator(hysteresis="100mV")
    up, down = (Bench({"V": 5.0, "INP": plus, "INN": 1.0}, [made, PULL_UP]).solve().state for plus in (1.2, 0.8))
    near = Bench({"V": 5.0, "INP": 1.02, "INN": 1.0}, [made, PULL_UP])
    assert near.solve(start=up).at("OUT") > 4.9
    assert near.solve(start=down).at("OUT") < 0.3


@pytest.mark.parametrize(
    ("mode", "severity", "plus", "high"),
    [
        ("OUT open", 0.0, 0.5, True), ("OUT stuck low", 0.0, 1.5, False), ("inputs stuck low", 0.0, 1.5, False),
        ("inputs stuck high", 0.0, 0.5, True), ("threshold high", 0.8, 1.5, False), ("threshold low", 0.8, 0.5, True),
        ("dead", 0.0, 0.5, True),
    ],
)  # fmt: skip
def test_modes_do_what_they_say(mode: str, severity: float, plus: float, *, high: bool) -> None:
    """Each failure gives the level that its name promises, at a pulled-up open-drain output against 1 V."""
    made = comparator()
    found = next(each for each in made.modes() if each.name == mode)
    bench = Bench({"V": 5.0, "INP": plus, "INN": 1.0}, [made, PULL_UP])
    assert (bench.solve(*found.patches(severity)).at("OUT") > 4.9) == high


def test_shares_sum_to_one() -> None:
    """The shares of all modes add up to one, for either output."""
    for output in ("push-pull", "open-drain"):
        assert sum(mode.share for mode in comparator(output=output).modes()) == pytest.approx(1)


@pytest.mark.parametrize(
    ("plus", "minus", "high"),
    [
        (3.0, 3.4, False), (3.4, 3.0, True),  # both within 0 V to 5 V - 1.5 V
        (3.0, 4.5, False), (4.5, 3.0, True),  # one above: the comparison holds
        (4.0, 4.5, True), (4.5, 4.0, True),  # both above: the output lets go
    ],
)  # fmt: skip
def test_common_mode_limit(plus: float, minus: float, *, high: bool) -> None:
    """LM393: inputs from 0 V to VCC - 1.5 V (data sheets); above it with both, the output lets go (from memory)."""
    bench = Bench({"V": 5.0, "INP": plus, "INN": minus}, [comparator(headroom="1.5V"), PULL_UP])
    assert (bench.solve().at("OUT") > 4.9) == high
