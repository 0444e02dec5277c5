"""Regulators: regulation, dropout, limits, input current, back-feeding, enable, power-good, feedback."""

from __future__ import annotations

import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from seqsim.network import Turn, vary
from seqsim.parts.regulator import Regulator
from seqsim.parts.resistor import Resistor
from seqsim.parts.supply import Supply
from seqsim.solver import Steadiness, currents, flatten, residual
from seqsim.solver.plain import all_on

PINS = {"IN": "VIN", "OUT": "OUT", "GND": "GND"}


def regulator(*pins: str, **values: object) -> Regulator:
    return Regulator(name="U1", pins=PINS | {pin: pin for pin in pins}, **values)


def resistor(name: str, ohms: float, first: str, second: str = "GND") -> Resistor:
    return Resistor(name=name, ohms=ohms, pins={"1": first, "2": second})


def load(ohms: float) -> Resistor:
    return resistor("RL", ohms, "OUT")


def bench_supply(volts: float, amps: float | None, ohms: float = 0.05) -> Supply:
    return Supply(name="VIN", net="VIN", volts=volts, ohms=ohms, amps=amps)


def delivered(bench: Bench, supply: Supply, level: float) -> float:
    del bench
    return (supply.volts - level) / supply.ohms


# ---- MODELS: what bench supplies and step-down regulators do together ----------------------------------------------


def collapsing(amps: float, **values: object) -> tuple[Bench, float, float]:
    """Return the two levels of a 12 V bench supply limited at ``amps`` that feeds a 5 W step-down, from off and on."""
    made = regulator(type="switching", volts=5, efficiency=0.9, amps=3, **values)
    bench = Bench({"VIN": bench_supply(12, amps)}, [made, load(5.0)])
    from_on = all_on(flatten(vary(bench.network, ()), 0))
    return bench, bench.solve().at("VIN"), bench.solve(start=from_on).at("VIN")


@pytest.mark.parametrize("amps", [0.47, 0.50, 0.55])
def test_a_limited_bench_supply_has_two_stable_states(amps: float) -> None:
    """5 W through a step-down from 12 V limited at 0.47 to 0.55 A: 11.98 V, or collapsed to 2.4 to 2.9 V.

    The collapsed input is analytic: the input share is one, so the load takes the limit: amps × 5 Ω plus dropout.
    """
    _, high, low = collapsing(amps)
    assert high == pytest.approx(11.98, abs=0.005)
    assert 2.3 < low < 2.9
    assert low == pytest.approx(amps * (5.0 + 0.2 / 3), abs=0.01)


def test_below_its_power_only_the_collapsed_state_is_left() -> None:
    """At 0.46 A, 12 V cannot bring 5 W / 0.9, so both starts end collapsed."""
    _, high, low = collapsing(0.46)
    assert high == pytest.approx(low, abs=1e-6)
    assert low < 2.4


def test_with_an_undervoltage_lock_a_collapse_pulses() -> None:
    """Limited at 0.3 A with an undervoltage lock at 4 V the input cannot settle: it starts and falls again."""
    made = regulator(type="switching", volts=5, efficiency=0.9, amps=3, undervoltage="4V")
    levels = Bench({"VIN": bench_supply(12, 0.3)}, [made, load(5.0)]).solve()
    assert levels.steadiness is Steadiness.OSCILLATES
    assert levels.loop == ("U1",)


def test_a_shorted_step_down_does_not_drag_its_input() -> None:
    """12 V, 2 A into 0.1 Ω: 0.4 W out, so about 0.4/(0.9 × 12) = 0.037 A in (energy balance)."""
    supply = bench_supply(12, None)
    made = regulator(type="switching", volts=5, efficiency=0.9, amps=2)
    bench = Bench({"VIN": supply}, [made, load(0.1)])
    levels = bench.solve()
    assert levels.at("OUT") == pytest.approx(0.2, abs=1e-3)
    assert delivered(bench, supply, levels.at("VIN")) == pytest.approx(0.037, abs=0.001)


def test_a_shorted_linear_regulator_takes_its_limit_from_the_input() -> None:
    """A linear type passes its output current on: a shorted output takes the limit from the input."""
    supply = bench_supply(12, None)
    bench = Bench({"VIN": supply}, [regulator(volts=5, amps=0.5), load(0.1)])
    levels = bench.solve()
    assert levels.at("OUT") == pytest.approx(0.05, abs=1e-3)
    assert delivered(bench, supply, levels.at("VIN")) == pytest.approx(0.5, abs=1e-3)


# ---- regulation and dropout ------------------------------------------------------------------------------------------


def test_dropout_grows_with_the_load() -> None:
    """A low-dropout type (0.3 V at 0.5 A) loses millivolts at 1 mA and 0.3 V at its limit."""
    made = regulator(volts=5)
    light = Bench({"VIN": 4.0}, [made, load(4e3)]).solve().at("OUT")
    full = Bench({"VIN": 4.0}, [made, load(7.4)]).solve().at("OUT")
    assert 4.0 - light == pytest.approx(0.6e-3, rel=0.1)
    assert 4.0 - full == pytest.approx(0.3, abs=0.005)


def test_an_npn_pass_element_keeps_a_dropout_without_load() -> None:
    """A type with 2 V at its limit still loses most of it at light load (common practice: 1.2 to 1.7 V)."""
    made = regulator(volts=5, model="linear-npn")
    light = Bench({"VIN": 5.5}, [made, load(5e3)]).solve().at("OUT")
    full = Bench({"VIN": 6.0}, [made, load(2.7)]).solve().at("OUT")
    assert 5.5 - light == pytest.approx(1.6, abs=0.01)
    assert 6.0 - full == pytest.approx(2.0, abs=0.03)


@pytest.mark.law("regulator")
@settings(max_examples=40, deadline=None)
@given(
    volts=st.floats(0.9, 12),
    supply=st.floats(0.0, 24),
    ohms=st.floats(0.5, 1e5),
    type_=st.sampled_from(["linear", "switching"]),
)
def test_output_current_balance_and_energy(volts: float, supply: float, ohms: float, type_: str) -> None:
    """The output exceeds neither set point nor input, currents balance, and it never gives more power than it takes."""
    made = regulator(type=type_, volts=volts)
    bench = Bench({"VIN": supply}, [made, load(ohms)])
    levels = bench.solve()
    out, into = levels.at("OUT"), levels.at("VIN")
    assert -1e-9 <= out <= min(volts, max(into, 0.0)) + 1e-6
    assert abs(residual(levels)).max() < 1e-6
    flows = dict(zip(bench.network.roles, currents(levels), strict=False))
    taken = flows["pass element" if type_ == "linear" else "input share"] * into
    assert flows["pass element"] * out <= taken + 1e-6


def test_reference_drift_moves_the_output() -> None:
    """The knob `volts` moves the output in proportion, in regulation."""
    bench = Bench({"VIN": 12.0}, [regulator(volts=5), load(100)])
    assert bench.solve(Turn("U1", "volts", 0.8)).at("OUT") == pytest.approx(4.0, abs=0.002)


def test_feedback_divider_sets_the_output() -> None:
    """With an FB pin at 0.8 V, 31.25 kΩ over 10 kΩ set 3.3 V (Vref (1 + R1/R2)); an open lower resistor gives 0.8 V."""
    made = regulator("FB", type="switching", volts=3.3, reference="0.8V")
    upper, lower = resistor("R1", 31.25e3, "OUT", "FB"), resistor("R2", 10e3, "FB")
    bench = Bench({"VIN": 12.0}, [made, upper, lower, load(33)])
    assert bench.solve().at("OUT") == pytest.approx(3.3, abs=0.003)
    without = Bench({"VIN": 12.0}, [made, upper, load(33)])
    assert without.solve().at("OUT") == pytest.approx(0.8, abs=0.002)


def test_an_open_upper_feedback_resistor_drives_the_output_up() -> None:
    """FB held at ground by the lower resistor alone: the output rises until the input or the limit stops it."""
    made = regulator("FB", type="switching", volts=3.3, reference="0.8V")
    bench = Bench({"VIN": 12.0}, [made, resistor("R2", 10e3, "FB"), load(33)])
    assert bench.solve().at("OUT") > 11.9


def test_body_diode_feeds_an_unpowered_input() -> None:
    """An output held at 3.3 V lifts the open input to about a diode drop below it."""
    made = regulator(volts=3.3)
    bench = Bench({"VIN": 5.0, "OUT": 3.3}, [made, resistor("R1", 1e3, "VIN")])
    assert 2.6 < bench.solve(absent=["VIN"]).at("VIN") < 2.95


# ---- enable, undervoltage, discharge, power-good --------------------------------------------------------------------


@pytest.mark.parametrize(("enable", "up"), [(1.15, False), (1.25, True)])
def test_precision_enable(enable: float, up: bool) -> None:  # noqa: FBT001
    """EN turns on at 1.2 V (TPS54361-Q1 data sheet: 1.1 / 1.2 / 1.3 V)."""
    bench = Bench({"VIN": 12.0, "EN": enable}, [regulator("EN", volts=5), load(100)])
    assert (bench.solve().at("OUT") > 4.9) == up


def test_enable_threshold_spread_covers_the_data_sheet() -> None:
    """1.1 to 1.3 V are about three standard deviations (TPS54361-Q1 data sheet)."""
    bench = Bench({"VIN": 12.0}, [regulator("EN", volts=5)])
    assert bench.network.knobs["U1", "enable threshold"].spread == pytest.approx(0.1 / 3, rel=0.1)


def test_enable_keeps_its_side_inside_the_hysteresis() -> None:
    """At 1.15 V a regulator that was on stays on, one that was off stays off (TPS65261 falls at 1.15 V: 1.1 here)."""
    made = regulator("EN", volts=5)
    on = Bench({"VIN": 12.0, "EN": 2.0}, [made, load(100)]).solve().state
    between = Bench({"VIN": 12.0, "EN": 1.15}, [made, load(100)])
    assert between.solve(start=on).at("OUT") > 4.9
    assert between.solve().at("OUT") < 0.1


def test_an_open_enable_with_a_pull_up_current_is_on() -> None:
    """Floating EN is on where the pin gives out a current (TPS65261: 3.6 µA), up to the input."""
    made = regulator("EN", volts=5, enable_current="3.6u")
    levels = Bench({"VIN": 12.0}, [made, load(100)]).solve()
    assert levels.at("OUT") > 4.9
    assert levels.at("EN") > 11.5


def test_start_and_stop_of_an_enable_divider_with_currents() -> None:
    """The divider that the data-sheet equations give for 8 V on and 6 V off starts and stops there.

    R1 = (Vstart VENf/VENr - Vstop)/(Ip (1 - VENf/VENr) + Ih), R2 = R1 VENf/(Vstop - VENf + R1 (Ip + Ih)):
    common form of step-down data sheets, from memory, not checked against the text.
    """
    rises, falls, ip, ih, start, stop = 1.2, 1.1, 1.2e-6, 3.4e-6, 8.0, 6.0
    upper = (start * falls / rises - stop) / (ip * (1 - falls / rises) + ih)
    lower = upper * falls / (stop - falls + upper * (ip + ih))
    made = regulator("EN", volts=5, enable_current=ip, enable_hysteresis_current=ih)
    parts = [made, load(100), resistor("R1", upper, "VIN", "EN"), resistor("R2", lower, "EN")]
    on = Bench({"VIN": 12.0}, parts).solve().state
    outs = {
        (volts, was_on): Bench({"VIN": volts}, parts).solve(start=on if was_on else None).at("OUT") > 4.5
        for volts in (5.9, 6.1, 7.9, 8.1)
        for was_on in (False, True)
    }
    assert outs == {
        (5.9, False): False, (5.9, True): False, (6.1, False): False, (6.1, True): True,
        (7.9, False): False, (7.9, True): True, (8.1, False): True, (8.1, True): True,
    }  # fmt: skip


def test_undervoltage_lock_holds_it_off() -> None:
    """A lock at 4.5 V: off at 4.4 V, on at 4.6 V."""
    made = regulator(volts=3.3, undervoltage="4.5V")
    assert Bench({"VIN": 4.4}, [made, load(100)]).solve().at("OUT") < 0.01
    assert Bench({"VIN": 4.6}, [made, load(100)]).solve().at("OUT") == pytest.approx(3.3, abs=0.01)


def test_discharge_acts_only_with_power() -> None:
    """Disabled but powered, the output is discharged; without input it is not."""
    made = regulator("EN", volts=5, discharge="100")
    lift = resistor("R1", 10e3, "V9", "OUT")
    bench = Bench({"VIN": 12.0, "EN": 0.0, "V9": 4.0}, [made, lift])
    assert bench.solve().at("OUT") == pytest.approx(0.04, abs=0.002)
    off = Bench({"VIN": 0.0, "EN": 0.0, "V9": 0.4}, [made, lift])
    assert off.solve(absent=["VIN"]).at("OUT") > 0.3


def power_good(share: float, *, was_released: bool, powered: bool = True) -> float:
    """Return the PG level of a 5 V regulator whose output stands at a share of it (by a drifted reference)."""
    made = regulator("PG", "FB", volts=5, reference=1.0)
    bench = Bench({"VIN": 12.0, "FB": 1.0, "VP": 3.3}, [made, resistor("RP", 10e3, "VP", "PG"), load(1e3)])
    good = bench.solve().state if was_released else None
    moved = Bench({"VIN": 12.0, "FB": share, "VP": 3.3}, [made, resistor("RP", 10e3, "VP", "PG"), load(1e3)])
    return moved.solve(absent=() if powered else ("VIN",), start=good).at("PG")


@pytest.mark.parametrize(
    ("share", "was_released", "released"),
    [
        (0.93, False, False), (0.95, False, True), (0.93, True, True), (0.91, True, False),
        (1.03, False, True), (1.05, True, True), (1.07, True, False),
    ],
)  # fmt: skip
def test_power_good_window(share: float, *, was_released: bool, released: bool) -> None:
    """PG lets go between 94 and 104 % and pulls below 92 or above 106 % (TPS54623 data sheet, JAJSBM7C)."""
    level = power_good(share, was_released=was_released)
    assert level == pytest.approx(3.3, abs=0.01) if released else level < 0.05


def test_unpowered_power_good_is_open() -> None:
    """Without input nothing pulls PG: the pull-up lifts it (a trap when a monitor is fed from another rail)."""
    assert power_good(0.0, was_released=False) < 0.05
    assert power_good(0.0, was_released=False, powered=False) == pytest.approx(3.3, abs=0.01)


def test_power_good_of_a_disabled_regulator_pulls_although_its_output_is_held_up() -> None:
    """An output that another source holds in the window does not release PG while EN is low."""
    made = regulator("PG", "EN", volts=5)
    pull_up = resistor("RP", 10e3, "OUT", "PG")
    bench = Bench({"VIN": 12.0, "EN": 0.0, "OUT": 5.0}, [made, pull_up])
    assert bench.solve().at("PG") < 0.05


# ---- failure modes --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "severity", "out", "good"),
    [
        ("no output", 0.0, (-0.01, 0.01), False),
        ("passes input", 0.1, (11.5, 12.0), False),
        ("out of spec", 0.8, (3.9, 4.1), True),
        ("weak", 100.0, (0.4, 0.6), False),
        ("OUT-GND short", 0.5, (0.2, 0.3), False),
        ("IN-GND short", 0.5, (4.9, 5.0), True),
        ("EN stuck low", 0.0, (-0.01, 0.01), False),
        ("EN stuck high", 0.0, (4.9, 5.0), True),
        ("PG never releases", 0.0, (4.9, 5.0), False),
        ("PG never pulls", 0.0, (4.9, 5.0), True),
    ],
)
def test_modes_do_what_they_say(mode: str, severity: float, out: tuple[float, float], *, good: bool) -> None:
    """Each failure of an enabled 5 V regulator at 100 Ω gives the output and the PG that its name promises."""
    made = regulator("EN", "PG", volts=5, amps=0.5)
    found = next(each for each in made.modes() if each.name == mode)
    bench = Bench({"VIN": 12.0, "EN": 3.3, "VP": 3.3}, [made, load(100), resistor("RP", 10e3, "VP", "PG")])
    levels = bench.solve(*found.patches(severity))
    assert out[0] < levels.at("OUT") < out[1]
    assert (levels.at("PG") > 3.0) == good


def test_shares_follow_the_makers_splits() -> None:
    """Shares sum to one; no output, input passed and out of spec lead, power-good and pin shorts are rare.

    Sources: TPS7A16-Q1 (SFFS504) and TPS746-Q1 (SBVA088), failure-mode distributions.
    """
    share = {mode.name: mode.share for mode in regulator("EN", "PG", volts=5).modes()}
    assert sum(share.values()) == pytest.approx(1)
    leading = {"no output", "passes input", "out of spec"}
    assert min(share[name] for name in leading) > max(value for name, value in share.items() if name not in leading)


@pytest.mark.parametrize(
    ("values", "pins", "words"),
    [
        ({"volts": 5, "power_good": ["104%", "94%"]}, (), "100 %"),
        ({"volts": 5, "power_good": "94%"}, (), "two shares"),
        ({"volts": 0.6, "reference": 0.8}, ("FB",), "reference"),
        ({"volts": 5, "enable_hysteresis": 2}, ("EN",), "enable_hysteresis"),
        ({"volts": 5, "quiescent": "lots"}, (), "quiescent"),
    ],
)
def test_values_that_do_not_fit_are_refused(values: dict[str, object], pins: tuple[str, ...], words: str) -> None:
    """Values without sense are refused with a sentence that names them."""
    with pytest.raises(ValidationError, match=words):
        regulator(*pins, **values)


@pytest.mark.parametrize(("quiescent", "amps"), [("10k", 1.2e-3), ("2mA", 2e-3)])
def test_quiescent_current(quiescent: str, amps: float) -> None:
    """`quiescent` is a resistance or a current at the supply pin."""
    supply = bench_supply(12, None, 1.0)
    bench = Bench({"VIN": supply}, [regulator("EN", volts=5, quiescent=quiescent), resistor("R1", 1e3, "EN")])
    assert delivered(bench, supply, bench.solve().at("VIN")) == pytest.approx(amps, rel=0.01)
