"""Diodes against their law and their data sheets."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from single_part import NAME, currents, network, part, root

from seqsim.network import Disable, Turn
from seqsim.parts.laws import junction_volts


def forward(amps: float, **values: object) -> float:
    """Return the forward voltage of a diode at a current."""
    what = part("diode", **values)
    return root(lambda volts: currents(what, {"A": volts, "K": 0.0})["A"] - amps, 0.0, 20.0)


@pytest.mark.parametrize(
    ("model", "amps", "least", "most"),
    [
        ("signal", 10e-3, 0.60, 1.0),  # 1N4148 data sheet: at most 1.0 V at 10 mA
        ("signal", 5e-3, 0.62, 0.72),  # 1N4448 data sheet: 0.62 to 0.72 V at 5 mA
        ("signal", 1e-3, 0.50, 0.715),  # BAV70 and BAW56 data sheets: at most 0.715 V at 1 mA
        ("signal", 50e-3, 0.65, 1.0),  # BAV70 and BAW56: at most 1.0 V at 50 mA
        ("signal", 150e-3, 0.75, 1.25),  # BAV70 and BAW56: at most 1.25 V at 150 mA
        ("schottky-small", 0.1e-3, 0.15, 0.24),  # BAT54 data sheets: typical 0.22 V, at most 0.24 V at 0.1 mA
        ("schottky-small", 1e-3, 0.22, 0.32),  # typical 0.29, at most 0.32
        ("schottky-small", 10e-3, 0.29, 0.40),  # typical 0.35, at most 0.40
        ("schottky-small", 30e-3, 0.32, 0.50),  # typical 0.41, at most 0.50
        ("schottky-small", 100e-3, 0.40, 0.80),  # typical 0.52, at most 0.8 to 1.0
        ("led-red", 20e-3, 1.7, 2.2),  # common practice: 1.8 to 2.0 V at 20 mA
    ],
)
def test_forward_voltage_keeps_the_data_sheet(model: str, amps: float, least: float, most: float) -> None:
    """The forward voltage lies in the window of the data sheet."""
    assert least <= forward(amps, model=model) <= most


@pytest.mark.law("diode")
@settings(max_examples=40, deadline=None)
@given(st.floats(1e-6, 0.2))
def test_chords_stay_near_the_law(amps: float) -> None:
    """A signal diode's chords miss Shockley's law by at most 60 mV between 1 µA and 0.2 A."""
    what = part("diode")
    exact = junction_volts(amps, *what.law)  # type: ignore[attr-defined]
    assert forward(amps) == pytest.approx(exact, abs=0.06)


def test_forward_voltage_is_where_the_file_puts_it() -> None:
    """`forward_volts` at `amps` sets the law; so does `saturation_amps`."""
    what = part("diode", forward_volts="0.62V", amps="5mA")
    assert junction_volts(5e-3, *what.law) == pytest.approx(0.62)  # type: ignore[attr-defined]
    what = part("diode", saturation_amps="2n")
    assert what.law[0] == pytest.approx(2e-9)  # type: ignore[attr-defined]


def test_type_chooses_the_model() -> None:
    """A type without a model takes the values that stand for the type, and a model brings its type."""
    assert part("diode", type="schottky").law == part("diode", model="schottky-small").law  # type: ignore[attr-defined]
    assert part("diode", model="led-green").type == "led"  # type: ignore[attr-defined]


def test_blocks_backwards() -> None:
    """A reversed diode carries nothing."""
    assert currents(part("diode"), {"A": 0.0, "K": 30.0})["K"] == 0.0


@pytest.mark.parametrize("volts", [3.3, 5.1, 12.0])
def test_zener_breaks_down_at_its_voltage(volts: float) -> None:
    """A Zener diode carries 5 mA at its voltage, backwards, and nothing at 0.8 of it."""
    what = part("diode", type="zener", volts=volts)
    assert currents(what, {"A": 0.0, "K": volts})["K"] == pytest.approx(5e-3, rel=1e-6)
    assert currents(what, {"A": 0.0, "K": 0.8 * volts})["K"] == 0.0
    after = currents(what, {"A": 0.0, "K": volts + 0.2}, patches=(Turn(NAME, "zener volts", 0.2),))
    assert after["K"] == pytest.approx(5e-3, rel=1e-6)


@pytest.mark.parametrize(
    ("dual", "pairs"),
    [
        ("common-anode", [("A", "K1"), ("A", "K2")]),
        ("common-cathode", [("A1", "K"), ("A2", "K")]),
        ("series", [("A", "M"), ("M", "K")]),
    ],
)
def test_duals_hold_two_diodes(dual: str, pairs: list[tuple[str, str]]) -> None:
    """BAT54A, C and S (Vishay 85508): common anode, common cathode, series; each diode fails by itself."""
    what = part("diode", dual=dual)
    for anode, cathode in pairs:
        other = next(pin for pin in what.pins if pin not in (anode, cathode))
        idle = 0.7 if other.startswith("K") else 0.0
        at = {anode: 0.7, cathode: 0.0, other: idle}
        drawn = currents(what, at)
        assert drawn[anode] > 1e-3
        assert drawn[cathode] < -1e-3
        names = [mode.name for mode in what.modes()]
        assert {f"{anode}-{cathode} {word}" for word in ("short", "open", "leaky")} <= set(names)
        opened = next(mode for mode in what.modes() if mode.name == f"{anode}-{cathode} open")
        assert currents(what, at, patches=opened.patches(1.0))[cathode] == pytest.approx(0.0, abs=1e-12)


def test_shorts_are_likelier_than_opens() -> None:
    """Junctions fail short more often than open: MIL-HDBK-338B and Birolini agree (both from memory)."""
    for kind in ("silicon", "schottky", "zener"):
        shares = {mode.name: mode.share for mode in part("diode", type=kind, **_zener(kind)).modes()}
        assert shares["short"] > shares["open"]


def _zener(kind: str) -> dict[str, float]:
    return {"volts": 5.1} if kind == "zener" else {}


def test_hinges_are_few() -> None:
    """Five chords for a junction, three more for a Zener's breakdown."""
    assert len(network(part("diode")).owners) == 5
    assert len(network(part("diode", type="zener", volts=5.1)).owners) == 8
    assert len(network(part("diode", dual="series")).owners) == 10


def test_an_open_diode_carries_nothing() -> None:
    """The mode `open` takes every hinge away."""
    what = part("diode")
    opened = next(mode for mode in what.modes() if mode.name == "open")
    (patch,) = opened.patches(1.0)
    assert isinstance(patch, Disable)
    assert set(network(what).roles) <= set(patch.roles or ())
    assert [a < b for a, b in pairwise(mode.share for mode in what.modes())] == [False, False]
