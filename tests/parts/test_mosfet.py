"""MOSFETs against the square law and their data sheets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from single_part import NAME, currents, part, root

from seqsim.network import Turn


def drain(kind: str, gate: float, over: float, **values: object) -> float:
    """Return the drain current (A) of a MOSFET at magnitudes of VGS and VDS, positive as it should flow."""
    sign = 1 if kind == "nmos" else -1
    return sign * currents(part(kind, **values), {"G": sign * gate, "D": sign * over, "S": 0.0})["D"]


@pytest.mark.law("nmos", "pmos")
@pytest.mark.parametrize(
    ("kind", "model", "gate", "least", "most"),
    [
        ("nmos", "nmos-small", 4.5, 0.5, 6.0),  # BSS138 data sheet: typical 1.0, at most 6.0 Ω at 4.5 V
        ("nmos", "nmos-small", 10.0, 0.3, 3.5),  # BSS138: typical 0.7, at most 3.5 Ω at 10 V
        ("pmos", "pmos-small", 4.5, 0.05, 0.130),  # Si2301DS data sheet: typical 0.105, at most 0.130 Ω at 4.5 V
        ("pmos", "pmos-power", 4.5, 0.02, 0.060),  # AO3401A data sheet: typical 0.047, at most 0.060 Ω at 4.5 V
        ("pmos", "pmos-power", 10.0, 0.02, 0.050),  # AO3401A: typical 0.041, at most 0.050 Ω at 10 V
    ],
)
def test_on_resistance_keeps_the_data_sheet(kind: str, model: str, gate: float, least: float, most: float) -> None:
    """RDS(on) at a small drain voltage lies below the data sheet's limit."""
    ohms = 1e-3 / drain(kind, gate, 1e-3, model=model)
    assert least <= ohms <= most


@pytest.mark.parametrize(
    ("kind", "model", "least", "most"),
    [
        ("nmos", "nmos-small", 0.8, 1.5),  # BSS138 data sheet: 0.8 to 1.5 V at 1 mA
        ("pmos", "pmos-small", 0.45, 0.95),  # Si2301BDS data sheet: 0.45 to 0.95 V at 250 µA
        ("pmos", "pmos-power", 0.5, 1.3),  # AO3401A data sheet: 0.5 to 1.3 V at 250 µA
    ],
)
def test_threshold_keeps_the_data_sheet(kind: str, model: str, least: float, most: float) -> None:
    """The gate voltage for the threshold's test current lies in the data sheet's window."""
    amps = 1e-3 if kind == "nmos" else 250e-6
    found = root(lambda volts: drain(kind, volts, 5.0, model=model) - amps, 0.0, 5.0)
    assert least <= found <= most


def test_on_resistance_is_exact_where_it_is_specified() -> None:
    """The last chord has the slope of the law at `gate_drive`, up to what balancing the chords moves."""
    for kind, ohms, drive in (("nmos", 0.02, 10.0), ("pmos", 0.05, 4.5), ("nmos", 1.5, 5.0)):
        found = 1e-3 / drain(kind, drive, 1e-3, on_ohms=ohms, gate_drive=drive, threshold=1.0)
        assert found == pytest.approx(ohms, rel=0.12)


@pytest.mark.law("nmos")
@given(st.floats(0.0, 4.0), st.floats(0.0, 5.0))
def test_channel_follows_the_square_law(over: float, across: float) -> None:
    """Both terms of the law are met within what 0.2 V of gate voltage would change."""
    k, threshold = 0.4, 1.2
    end = max(over - across, 0.0)
    found = drain("nmos", threshold + over, across, transconductance=k, threshold=threshold)
    assert found == pytest.approx(k / 2 * (over**2 - end**2), abs=0.2 * k * (over + end) + k / 2 * 0.2**2)


def test_source_and_drain_are_alike() -> None:
    """The channel conducts equally both ways: source and drain exchange their roles."""
    what = part("nmos")
    forward = currents(what, {"G": 4.0, "D": 0.2, "S": 0.0})
    backward = currents(what, {"G": 4.0, "D": 0.0, "S": 0.2})
    assert forward["D"] == pytest.approx(backward["S"])
    assert forward["G"] == 0.0


@pytest.mark.parametrize("kind", ["nmos", "pmos"])
def test_body_diode_conducts_backwards(kind: str) -> None:
    """With the gate off, the body diode carries current from source to drain (N), and at most 1 V lies over it.

    AO3401A data sheet: VSD typically 0.7 V, at most 1 V at 1 A.
    """
    model = "nmos-logic" if kind == "nmos" else "pmos-power"
    found = root(lambda volts: -drain(kind, 0.0, -volts, model=model) - 1.0, 0.0, 3.0)
    assert 0.5 < found < 1.0
    assert drain(kind, 0.0, 20.0, model=model) == 0.0


def test_threshold_of_a_p_channel_is_a_magnitude() -> None:
    """A P-channel MOSFET with its gate at its source is off, and on with the gate far below it."""
    what = part("pmos", model="pmos-power")
    assert currents(what, {"G": 12.0, "D": 0.0, "S": 12.0})["D"] == 0.0
    assert currents(what, {"G": 7.0, "D": 11.9, "S": 12.0})["D"] < -0.5


def test_knobs_move_threshold_and_strength() -> None:
    """The threshold shifts the gate voltage needed, the transconductance scales the current."""
    what, at = part("nmos"), {"G": 3.0, "D": 5.0, "S": 0.0}
    before = currents(what, at)["D"]
    shifted = currents(what, at | {"G": 3.4}, patches=(Turn(NAME, "threshold", 0.4),))["D"]
    assert shifted == pytest.approx(before)
    assert currents(what, at, patches=(Turn(NAME, "transconductance", 0.1),))["D"] == pytest.approx(0.1 * before)


def test_a_follower_stops_a_threshold_below_its_gate() -> None:
    """A pass transistor whose gate is at 5 V hands on no more than about 5 V less the threshold (common practice)."""
    what = part("nmos", model="nmos-small")
    assert currents(what, {"G": 5.0, "D": 5.0, "S": 3.9})["S"] == pytest.approx(0.0, abs=1e-12)
    assert currents(what, {"G": 5.0, "D": 5.0, "S": 3.0})["S"] < -1e-3


def test_shorts_lead_the_failures() -> None:
    """FETs fail short most often: MIL-HDBK-338B and Birolini agree (both from memory)."""
    modes = part("nmos").modes()
    shorts = sum(mode.share for mode in modes if mode.name.endswith("short"))
    assert shorts > 0.5
    assert max(modes, key=lambda mode: mode.share).name == "D-S short"
