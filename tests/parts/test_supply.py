"""Supplies: source, limit, sink, idle, and their failure modes."""

from __future__ import annotations

import pytest
from bench import Bench
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from seqsim.network import Turn
from seqsim.parts.resistor import Resistor
from seqsim.parts.supply import Supply
from seqsim.parts.wiring import Wiring


def resistor(ohms: float, first: str, second: str = "GND", name: str = "R1") -> Resistor:
    return Resistor(name=name, ohms=ohms, pins={"1": first, "2": second})


def supply(**values: object) -> Supply:
    return Supply(name="V", **values)


def test_a_limit_is_exact_at_a_stiff_source() -> None:
    """A 0.5 A limit at 24 V behind 10 mΩ gives 0.5 A into a short load, not 0.74 A (Ohm's law: 0.5 V at 1 Ω)."""
    bench = Bench({"V": supply(volts="24V", ohms="10m", amps="0.5A")}, [resistor(1.0, "V")])
    assert bench.solve().at("V") == pytest.approx(0.5, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(
    volts=st.floats(-30, 30).filter(lambda v: abs(v) > 0.5),
    ohms=st.floats(0.01, 10),
    amps=st.floats(0.01, 5),
    load=st.floats(0.05, 1e4),
)
def test_the_load_takes_the_smaller_of_ohms_law_and_the_limit(
    volts: float, ohms: float, amps: float, load: float
) -> None:
    """For either polarity the load's current is V/(R + Rs), but at most the limit."""
    bench = Bench({"V": supply(volts=volts, ohms=ohms, amps=amps)}, [resistor(load, "V")])
    expected = min(abs(volts) / (ohms + load), amps)
    assert abs(bench.solve().at("V")) / load == pytest.approx(expected, rel=1e-5)


@settings(max_examples=30, deadline=None)
@given(factor=st.floats(0.5, 100))
def test_a_higher_source_resistance_keeps_the_limit(factor: float) -> None:
    """The knob `ohms` moves the drop, not the current limit."""
    bench = Bench({"V": supply(volts=12, ohms=0.05, amps=0.5)}, [resistor(1.0, "V")])
    level = bench.solve(Turn("V", "ohms", factor)).at("V")
    assert level == pytest.approx(min(12 / (1 + 0.05 * factor), 0.5), rel=1e-6)


def test_the_sink_limit_lets_a_stronger_source_lift_it() -> None:
    """Back-driven by 9 V through 100 Ω, a 5 V supply that sinks 10 mA sits at 9 V - 10 mA × 100 Ω = 8 V."""
    parts = [resistor(100, "V", "V9")]
    bench = Bench({"V": supply(volts=5, ohms=0.05, sink="10mA"), "V9": 9.0}, parts)
    assert bench.solve().at("V") == pytest.approx(8.0, abs=1e-3)
    unlimited = Bench({"V": supply(volts=5, ohms=0.05), "V9": 9.0}, parts)
    assert unlimited.solve().at("V") == pytest.approx(5.0, abs=0.01)


def test_not_applied_is_an_open_circuit_and_idle_low_is_not() -> None:
    """A signal that is not applied is back-fed to 4.41 V by 10 kΩ against 75 kΩ; tied low it reads millivolts."""
    signal = Supply(name="START", net="START", volts="3.3V", ohms="50", idle="low")
    parts = [resistor(10e3, "V5", "START", "R1"), resistor(75e3, "START", "GND", "R2")]
    bench = Bench({"V5": 5.0, "START": signal}, parts)
    assert bench.solve(absent=["START"]).at("START") == pytest.approx(4.41, abs=0.005)
    assert bench.solve(low=["START"]).at("START") == pytest.approx(0.025, abs=0.002)
    assert bench.solve().at("START") == pytest.approx(3.308, abs=0.002)


@pytest.mark.parametrize(
    ("mode", "severity", "low", "high"),
    [("absent", 0, -1e-6, 1e-6), ("stuck low", 0, -1e-6, 1e-6), ("low", 2, 2.49, 2.51), ("too high", 2, 9.9, 10.0)],
)
def test_modes_do_what_they_say(mode: str, severity: float, low: float, high: float) -> None:
    """Each failure of a 5 V supply gives the voltage that its name promises at a light load."""
    made = supply(volts=5, amps=2)
    found = next(each for each in made.modes() if each.name == mode)
    level = Bench({"V": made}, [resistor(1e4, "V")]).solve(*found.patches(severity)).at("V")
    assert low < level < high


def test_shares_add_up_and_say_their_standing() -> None:
    """The shares of the modes of a supply sum to one, each with a source."""
    modes = supply(volts=5).modes()
    assert sum(mode.share for mode in modes) == pytest.approx(1)
    assert all(mode.source.text and mode.confirm and mode.repair for mode in modes)


def test_unknown_volts_have_a_wide_spread() -> None:
    """`volts: ?` is accepted and spreads by a factor of about seven."""
    made = supply(volts="?")
    bench = Bench({"V": made}, [])
    assert bench.network.knobs["V", "volts"].spread == pytest.approx(2.0)


@pytest.mark.parametrize(
    "values", [{"volts": "50k"}, {"volts": "five"}, {"volts": 5, "amps": 0}, {"volts": 5, "ohms": "-1"}, {"volt": 5}]
)
def test_values_without_meaning_are_refused(values: dict[str, object]) -> None:
    """Impossible or unknown values do not make a supply."""
    with pytest.raises(ValidationError):
        supply(**values)


def test_cards_state_source_limit_and_sink() -> None:
    """A stiff supply is a voltage source in SPICE, a limited one a clipped current, an absent one nothing."""
    assert supply(volts=5, ohms=0.1).cards("1", Wiring({"entry": "n1"}), applied=True) == (
        "V1 1e 0 DC 5.0",
        "R1 1e n1 0.1",
    )
    (card,) = supply(volts=5, ohms=0.1, amps=2, sink=1).cards("1", Wiring({"entry": "n1"}), applied=True)
    assert card == "B1 0 n1 I=max(min((5.0-V(n1))/0.1,2.0),-1.0)"
    assert supply(volts=5).cards("1", Wiring({"entry": "n1"}), applied=False) == ()
