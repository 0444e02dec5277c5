"""Black boxes and their condition language."""

from __future__ import annotations

import itertools

import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from seqsim.parts.black_box import BlackBox
from seqsim.parts.condition import Condition, parse_condition
from seqsim.parts.part import PartError
from seqsim.parts.resistor import Resistor

PINS = {"A": "A", "B": "B", "EN#": "EN#", "OUT": "OUT", "VCC": "V", "GND": "GND"}
PULL_UP = Resistor(name="RU", ohms=100e3, pins={"1": "V", "2": "OUT"})
PULL_DOWN = Resistor(name="RD", ohms=100e3, pins={"1": "OUT", "2": "GND"})


def black_box(pins: dict[str, str] | None = None, **values: object) -> BlackBox:
    return BlackBox(name="U1", pins=pins or PINS, **values)


def holds(text: str, **volts: float) -> bool:
    condition = parse_condition(text, ("A", "B", "EN#"), "high_when")
    at = volts | ({"EN#": volts["EN"]} if "EN" in volts else {})
    return condition.holds({above.row: at[above.pin] > above.volts for above in condition.comparisons()})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("A > 1 and B > 1", lambda a, b: a and b),
        ("A>1 or B>1", lambda a, b: a or b),
        ("not A > 1V", lambda a, _: not a),
        ("A < 1V or not (B > 1000mV and A > 1 V)", lambda a, b: not a or not (b and a)),
        ("A > 1 or B > 1 and A < 1", lambda a, b: a or (b and not a)),
        ("not (A > 1 or B > 1) or (A > 1 and B > 1)", lambda a, b: a == b),
    ],
)
def test_conditions_mean_what_they_say(text: str, expected: object) -> None:
    """`not` binds before `and`, `and` before `or`, parentheses first (the order of Boolean algebra)."""
    assert callable(expected)
    for a, b in itertools.product((False, True), repeat=2):
        assert holds(text, A=2.0 * a, B=2.0 * b) == expected(a, b)


comparisons = st.tuples(
    st.sampled_from(["A", "B", "EN#"]), st.sampled_from("<>"), st.sampled_from(["1", "2V", "500mV"])
).map(" ".join)


def join(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    pairs = st.tuples(inner, st.sampled_from(["and", "or"]), inner)
    return st.one_of(inner.map("not ({})".format), pairs.map(lambda pair: f"({pair[0]}) {pair[1]} ({pair[2]})"))


conditions = st.recursive(comparisons, join, max_leaves=5)


@settings(max_examples=100, deadline=None)
@given(text=conditions, volts=st.tuples(*[st.sampled_from([0.2, 0.7, 1.5, 3.0])] * 3))
def test_conditions_agree_with_an_independent_reading(text: str, volts: tuple[float, float, float]) -> None:
    """Any condition agrees with Python's own operators, which have the same order of binding."""
    expression = text.replace("EN#", "E").replace("2V", "2").replace("500mV", "0.5")
    expected = eval(expression, {"__builtins__": {}}, dict(zip("ABE", volts, strict=True)))  # noqa: S307
    assert holds(text, A=volts[0], B=volts[1], EN=volts[2]) == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "a pin is missing at the end"), ("A", "'>' or '<' is missing"), ("A > ", "no voltage"),
        ("A > 1 and", "a pin is missing"), ("A > 1 B > 1", "follows"), ("(A > 1", "parenthesis"),
        ("C > 1", "no pin"), ("A > fast", "no voltage"), ("__import__('os')", "no pin"),
        ("(" * 100 + "A > 1", "deeply"),
        ("not " * 100 + "A > 1", "deeply"), ("A > 1)", "follows"),
    ],
)  # fmt: skip
def test_what_is_no_condition_is_refused(text: str, words: str) -> None:
    """Each refusal says what is wrong and how a condition is written."""
    with pytest.raises(PartError, match=words) as caught:
        parse_condition(text, ("A", "B"), "high_when")
    assert caught.value.key == "high_when"


def test_a_condition_is_a_value() -> None:
    """Equal texts give equal conditions, and each comparison stands once."""
    first: Condition = parse_condition("A > 1 and (B > 1 or A > 1)", ("A", "B"), "high_when")
    assert first == parse_condition("A > 1V and (B>1 or A>1000mV)", ("A", "B"), "low_when")
    assert len(first.comparisons()) == 2


def out(made: BlackBox, pull: Resistor, supply: float = 3.3, **inputs: float) -> float:
    at = {"A": 0.0, "B": 0.0, "EN#": 0.0} | inputs
    return Bench({"V": supply, **at}, [made, pull]).solve().at("OUT")


@pytest.mark.law("black_box")
def test_high_when_is_low_otherwise() -> None:
    """With only `high_when`, the output is high or low."""
    made = black_box(high_when="A > 1.2 and not B > 1.2")
    assert out(made, PULL_DOWN, A=3.3) == pytest.approx(3.3, abs=0.01)
    assert out(made, PULL_UP, A=3.3, B=3.3) < 0.01


def test_open_when_comes_first() -> None:
    """`open_when` lets go of the output whatever else holds, and `low_when` comes before `high_when`."""
    made = black_box(high_when="A > 1", low_when="B > 1", open_when="EN# > 1")
    assert out(made, PULL_UP, A=3.3, B=3.3) < 0.01
    assert out(made, PULL_UP, **{"B": 3.3, "EN#": 3.3}) > 3.2
    assert out(made, PULL_DOWN, **{"A": 3.3, "EN#": 3.3}) < 0.1
    assert out(made, PULL_UP) > 3.2


def test_an_open_output_box_needs_no_supply_pin() -> None:
    """`low_when` with `otherwise: open` is an open drain; it needs no VCC."""
    pins = {"A": "A", "OUT": "OUT", "GND": "GND"}
    made = black_box(pins, low_when="A > 1", otherwise="open")
    assert out(made, PULL_UP, A=3.3) < 0.1
    assert out(made, PULL_UP, A=0.0) > 3.2


def test_below_its_supply_it_lets_go() -> None:
    """Under its least supply the output is open."""
    made = black_box(low_when="A < 5", otherwise="open")
    level = out(made, Resistor(name="RU", ohms=1e5, pins={"1": "B", "2": "OUT"}), supply=1.0, B=3.0)
    assert level > 2.9


@pytest.mark.parametrize(
    ("pins", "values", "words"),
    [
        (PINS, {}, "at least one"),
        ({"A": "A", "OUT": "O"}, {"high_when": "A > 1"}, "no pin GND"),
        ({"A": "A", "OUT": "O", "GND": "GND"}, {"high_when": "A > 1"}, "VCC"),
        ({"A": "A", "Y": "O", "GND": "GND"}, {"low_when": "A > 1"}, "no pin OUT"),
        (PINS, {"high_when": "OUT > 1"}, "no pin"),
        (PINS, {"high_when": " and ".join(f"A > {k}" for k in range(9))}, "at most 8"),
    ],
)
def test_a_box_without_sense_is_refused(pins: dict[str, str], values: dict[str, object], words: str) -> None:
    """Each refusal names what is missing."""
    with pytest.raises(ValidationError, match=words):
        black_box(pins, **values)


def test_shares_sum_to_one() -> None:
    """The shares of all modes add up to one."""
    assert sum(mode.share for mode in black_box(high_when="A > 1 or B > 1").modes()) == pytest.approx(1)


def test_an_input_that_is_no_longer_followed() -> None:
    """`A above 1 V stuck high` drives the output as if A were high."""
    made = black_box(high_when="A > 1")
    found = next(mode for mode in made.modes() if mode.name == "A above 1 V stuck high")
    bench = Bench({"V": 3.3, "A": 0.0}, [made, PULL_DOWN])
    assert bench.solve(*found.patches(0.0)).at("OUT") > 3.2
