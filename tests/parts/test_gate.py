"""Logic gates: truth tables, levels of the families, supply, clamps, failure modes."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st

from seqsim.network import Turn
from seqsim.parts import KINDS
from seqsim.parts.gate import FAMILIES, LogicGate
from seqsim.parts.part import Part
from seqsim.parts.resistor import Resistor
from seqsim.solver import Steadiness

TRUTH: dict[str, Callable[[Sequence[bool]], bool]] = {
    "and": all,
    "nand": lambda bits: not all(bits),
    "or": any,
    "nor": lambda bits: not any(bits),
    "xor": lambda bits: sum(bits) % 2 == 1,
    "xnor": lambda bits: sum(bits) % 2 == 0,
    "not": lambda bits: not bits[0],
    "buffer": lambda bits: bits[0],
}
"""Boolean algebra (IEEE Std 91, qualifying symbols &, ≥1, =1, 1)."""


def gate(kind: str, inputs: int = 1, **values: object) -> LogicGate:
    pins = {pin: pin for pin in "ABCD"[:inputs]} | {"Y": "Y", "VCC": "V", "GND": "GND"}
    made = KINDS[kind](kind=kind, name="U1", pins=pins, **values)
    assert isinstance(made, LogicGate)
    return made


def resistor(name: str, ohms: float, first: str, second: str = "GND") -> Resistor:
    return Resistor(name=name, ohms=ohms, pins={"1": first, "2": second})


def output(made: LogicGate, supply: float, inputs: dict[str, float], *more: Part) -> float:
    return Bench({"V": supply, **inputs}, [made, *more]).solve().at("Y")


@pytest.mark.law("and", "or", "nand", "nor", "xor", "xnor", "not", "buffer")
@pytest.mark.parametrize(
    ("kind", "inputs"), [(k, n) for k in TRUTH for n in ((1,) if k in ("not", "buffer") else (2, 3, 4))]
)
def test_truth_tables(kind: str, inputs: int) -> None:
    """Every gate drives its output to the rail that Boolean algebra names, for every input pattern."""
    made = gate(kind, inputs)
    for bits in itertools.product((False, True), repeat=inputs):
        level = output(made, 3.3, {pin: 3.3 * bit for pin, bit in zip("ABCD", bits, strict=False)})
        assert level == pytest.approx(3.3 if TRUTH[kind](bits) else 0.0, abs=0.01)


@pytest.mark.parametrize(("family", "row"), [(f, i) for f, made in FAMILIES.items() for i in range(len(made.levels))])
def test_guaranteed_input_levels_are_recognised(family: str, row: int) -> None:
    """VIL and VIH of each family (sources beside its table) are read as low and high, 3 deviations from switching."""
    levels = FAMILIES[family].levels[row]
    made = gate("buffer", family=family, supply_volts=levels.supply)
    deviation = made.thresholds()[2]
    assert deviation == pytest.approx((levels.input_high - levels.input_low) / 6, rel=1e-6)
    bench = Bench({"V": levels.supply, "A": levels.input_low}, [made])
    assert bench.solve(Turn("U1", "threshold", -2.9 * deviation)).at("Y") < 0.1
    bench = Bench({"V": levels.supply, "A": levels.input_high}, [made])
    assert bench.solve(Turn("U1", "threshold", 2.9 * deviation)).at("Y") > levels.output_high


@pytest.mark.parametrize(("family", "row"), [(f, i) for f, made in FAMILIES.items() for i in range(len(made.levels))])
def test_guaranteed_output_levels_are_met_at_their_current(family: str, row: int) -> None:
    """At its rated current each output keeps VOH and VOL (for LS: 0.4 mA out of a high output, DM74LS08)."""
    levels = FAMILIES[family].levels[row]
    made = gate("buffer", family=family, supply_volts=levels.supply)
    out_amps = 0.4e-3 if family == "ls" else levels.amps
    high = output(made, levels.supply, {"A": levels.supply}, resistor("R1", levels.output_high / out_amps, "Y"))
    assert high >= levels.output_high
    up = resistor("R1", (levels.supply - levels.output_low) / levels.amps, "Y", "V")
    assert output(made, levels.supply, {"A": 0.0}, up) <= levels.output_low


def test_five_volt_hc_against_three_volt_signals() -> None:
    """A 3.3 V high is above half of 5 V but below VIH of 74HC (3.5 V): read, yet inside 3 deviations; HCT is safe."""
    hc, hct = gate("buffer", family="HC"), gate("buffer", family="hct")
    assert output(hc, 5.0, {"A": 3.3}) > 4.9
    assert (3.3 - hc.thresholds()[1]) / hc.thresholds()[2] < 3
    assert (3.3 - hct.thresholds()[1]) / hct.thresholds()[2] > 3


def test_schmitt_inputs_remember() -> None:
    """Between its two thresholds a Schmitt gate keeps what it had; a plain one does not care where it came from."""
    made = gate("buffer", family="hc", schmitt="true")
    falling, rising, _ = made.thresholds()
    assert rising - falling == pytest.approx(0.2 * 5.0, rel=1e-6)
    middle = Bench({"V": 5.0, "A": 2.5}, [made])
    up, down = (Bench({"V": 5.0, "A": volts}, [made]).solve().state for volts in (5.0, 0.0))
    assert middle.solve(start=up).at("Y") > 4.9
    assert middle.solve(start=down).at("Y") < 0.1


def test_open_drain_needs_its_pull_up() -> None:
    """An open-drain output pulls low and lets go to its pull-up, also above its own supply."""
    made = gate("buffer", output="open-drain")
    pull_up = resistor("R1", 10e3, "Y", "V5")
    assert output(made, 3.3, {"A": 0.0, "V5": 5.0}, pull_up) < 0.02
    assert output(made, 3.3, {"A": 3.3, "V5": 5.0}, pull_up) == pytest.approx(5.0, abs=1e-3)


@pytest.mark.parametrize(("family", "fed"), [("hc", True), ("lvc", False), ("aup", False)])
def test_only_families_with_input_diodes_are_fed_through_an_input(family: str, *, fed: bool) -> None:
    """Without its supply, 74HC is fed to about a diode drop below its input; LVC and AUP (Ioff) are not.

    Sources: Ioff of SN74LVC1G08 (SCES217) and SN74AUP1G08 (SCES502); HC diodes from memory, not checked.
    """
    load = resistor("R1", 10e3, "V")
    level = Bench({"V": 5.0, "A": 3.3}, [gate("buffer", family=family), load]).solve(absent=["V"]).at("V")
    assert (2.5 < level < 2.9) if fed else (level < 0.01)


def test_an_open_ls_input_reads_high() -> None:
    """An open LS input floats at 1.4 to 1.7 V and counts as high (common practice)."""
    bench = Bench({"V": 5.0}, [gate("buffer", family="ls"), resistor("R1", 10e6, "A")])
    assert 1.4 < bench.solve().at("A") < 1.7
    assert bench.solve().at("Y") > 2.7


def test_a_shorted_output_gives_its_limit() -> None:
    """A high output into a short gives its short-circuit current, not the current of its small-signal resistance."""
    level = output(gate("buffer", family="hc"), 5.0, {"A": 5.0}, resistor("R1", 1.0, "Y"))
    assert level == pytest.approx(0.040, rel=0.01)


def test_below_the_minimum_supply_the_output_is_open() -> None:
    """At half of its minimum supply a gate drives nothing: its output follows the pull-down."""
    made = gate("not", family="lvc")
    assert output(made, 0.6, {"A": 0.0}, resistor("R1", 1e5, "Y")) < 0.01


@pytest.mark.parametrize(
    ("mode", "inputs", "low", "high"),
    [
        ("Y stuck low", (1, 1), -0.01, 0.1),
        ("Y stuck high", (0, 0), 3.2, 3.31),
        ("Y open", (1, 1), -0.01, 0.01),
        ("A stuck low", (1, 1), -0.01, 0.1),
        ("A stuck high", (0, 1), 3.2, 3.31),
        ("dead", (1, 1), -0.01, 0.01),
    ],
)
def test_modes_do_what_they_say(mode: str, inputs: tuple[int, int], low: float, high: float) -> None:
    """Each failure of an AND gate with a pull-down of 100 kΩ gives the level that its name promises."""
    made = gate("and", 2)
    found = next(each for each in made.modes() if each.name == mode)
    levels = dict(zip("AB", (3.3 * bit for bit in inputs), strict=True))
    bench = Bench({"V": 3.3, **levels}, [made, resistor("R1", 1e5, "Y")])
    assert low < bench.solve(*found.patches(0.0)).at("Y") < high


@pytest.mark.parametrize("kind", TRUTH)
def test_opens_are_likelier_than_stuck_outputs(kind: str) -> None:
    """Shares sum to one, and opens lead over stuck outputs.

    MIL-HDBK-338B and Birolini's table agree on that ordering for digital MOS circuits (both from memory, not
    checked against the text).
    """
    modes = {mode.name: mode.share for mode in gate(kind, 1 if kind in ("not", "buffer") else 2).modes()}
    assert sum(modes.values()) == pytest.approx(1)
    assert modes["Y open"] > modes["Y stuck low"] + modes["Y stuck high"]


@settings(max_examples=25, deadline=None)
@given(kind=st.sampled_from(sorted(TRUTH)), family=st.sampled_from(sorted(FAMILIES)), volts=st.floats(0, 5))
def test_levels_stay_inside_the_supply(kind: str, family: str, volts: float) -> None:
    """Whatever its input is, a gate settles, and its output lies between ground and its supply."""
    inputs = 1 if kind in ("not", "buffer") else 2
    bench = Bench({"V": 5.0, "A": volts, "B": 5.0}, [gate(kind, inputs, family=family), resistor("R1", 1e4, "Y")])
    levels = bench.solve()
    assert levels.steadiness is Steadiness.STEADY
    assert -1e-6 <= levels.at("Y") <= 5.0 + 1e-6


def test_an_inverter_on_its_own_input_oscillates() -> None:
    """A ring of one inverter has no steady level, and the answer names it."""
    made = KINDS["not"](kind="not", name="U1", pins={"A": "Y", "Y": "Y", "VCC": "V", "GND": "GND"})
    levels = Bench({"V": 3.3}, [made]).solve()
    assert levels.steadiness is Steadiness.OSCILLATES
    assert levels.loop == ("U1",)


def test_a_short_list_of_pins_leaves_out_inputs() -> None:
    """Five nets in a list are A, B, Y, VCC, GND; an inverter has four pins."""
    made = KINDS["nand"](kind="nand", name="U1", pins=["a", "b", "y", "v", "GND"])
    assert dict(made.pins) == {"A": "a", "B": "b", "Y": "y", "VCC": "v", "GND": "GND"}
