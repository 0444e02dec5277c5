"""Data sheets of common devices, as far as the tests of each part family do not hold them already.

All figures were seen in copies of the makers' sheets unless a line says otherwise.
"""

from __future__ import annotations

import pytest
from single_part import part
from textbook import resistors
from worked import Worked


def driven(kind: str, base_milliamps: float, collector_milliamps: float) -> Worked:
    """Return a small transistor at its default values with these currents driven into base and collector."""
    far = 1e4 if kind == "npn" else -1e4
    base, collector = (repr(abs(far) / milliamps * 1e3) for milliamps in (base_milliamps, collector_milliamps))
    return Worked(
        {"FAR": far},
        resistors(RB=(base, "FAR", "B"), RC=(collector, "FAR", "C"))
        + f"Q1: {{kind: {kind}, pins: {{B: B, C: C, E: GND}}}}",
    )


@pytest.mark.parametrize(
    ("kind", "milliamps", "least", "most"),
    [
        ("npn", 1, 70, 450),  # 2N3904: at least 70 at 1 mA; BC847B: 200 to 450 at 2 mA
        ("npn", 2, 199.5, 450),
        ("npn", 10, 100, 300),  # 2N3904 at 10 mA and 1 V
        ("npn", 50, 60, 300),  # 2N3904: at least 60
        ("npn", 100, 30, 300),  # 2N3904: at least 30
        ("pnp", 1, 80, 300),  # 2N3906: at least 80
        ("pnp", 10, 100, 300),  # 2N3906 at 10 mA and 1 V
        ("pnp", 50, 60, 300),  # 2N3906: at least 60
        ("pnp", 100, 30, 300),  # 2N3906: at least 30
    ],
)
def test_current_gain(kind: str, milliamps: float, least: float, most: float) -> None:
    """Collector over base current with 1 V or more across the transistor."""
    sign = 1 if kind == "npn" else -1
    ohms = repr(3.0 / milliamps * 1e3)
    follower = Worked(
        {"VCC": sign * 8.0, "B": sign * 3.7},
        resistors(RE=(ohms, "E", "GND")) + f"Q1: {{kind: {kind}, pins: {{B: B, C: VCC, E: E}}}}",
    )
    assert abs(follower.amps("Q1.C")) == pytest.approx(milliamps * 1e-3, rel=0.15)
    assert least <= follower.amps("Q1.C") / follower.amps("Q1.B") <= most


@pytest.mark.parametrize(
    ("base", "collector", "base_volts", "collector_most"),
    [(0.5, 10, 0.70, 0.25), (5, 100, 0.90, 0.60)],
)
def test_saturation_of_the_bc847b(base: float, collector: float, base_volts: float, collector_most: float) -> None:
    """VBE(sat) is typically 0.70 V at 10 and 0.5 mA, 0.90 V at 100 and 5 mA; VCE(sat) at most 0.25 and 0.6 V."""
    switch = driven("npn", base, collector)
    assert switch.volts("B") == pytest.approx(base_volts, abs=0.1)
    assert 0.01 < switch.volts("C") <= collector_most


@pytest.mark.parametrize(
    ("milliamps", "least", "most"),
    [
        (10, 0.6, 0.855),  # BAV70 and BAW56: at most 0.855 V at 10 mA
        (1, 0.54, 0.63),  # 1N4148 typical curve: 0.57 to 0.60 V
        (5, 0.62, 0.71),  # likewise 0.65 to 0.68 V
        (10, 0.67, 0.76),  # likewise 0.70 to 0.73 V
    ],
)
def test_signal_diodes(milliamps: float, least: float, most: float) -> None:
    """Forward voltage of the default diode, in its window or within 30 mV of the typical curve: it is made of chords.

    The typical curve of the 1N4148 is from memory, not checked against the text.
    """
    ohms = repr(1e4 / milliamps * 1e3)
    forward = Worked({"FAR": 1e4}, resistors(R1=(ohms, "FAR", "A")) + "D1: {kind: diode, pins: [A, GND]}")
    assert least <= forward.volts("A") <= most


def test_transistors_with_resistors_inside() -> None:
    """DTC114E: R1 7 to 13 kΩ, output at most 0.3 V at 10 and 0.5 mA, at most 0.5 µA when off, gain at least 30.

    DTC143E: R1 3.29 to 6.11 kΩ, at most 1.8 mA into the input at 5 V.
    """
    parts = "Q1: {kind: npn_prebiased, model: npn-10k-10k, pins: {B: IN, C: OUT, E: GND}}\n"
    driven = Worked({"VCC": 10, "FAR": 1e4}, parts + resistors(R1=("20M", "FAR", "IN"), RC=("980", "VCC", "OUT")))
    assert driven.amps("Q1.B") == pytest.approx(0.5e-3, rel=0.01)
    assert 0 < driven.volts("OUT") <= 0.3
    assert driven.amps("Q1.C") == pytest.approx(10e-3, rel=0.05)
    off = Worked({"VCC": 50, "IN": 0}, parts + resistors(RC=("1k", "VCC", "OUT")))
    assert abs(off.amps("Q1.C")) <= 0.5e-6
    active = Worked({"VCC": 5, "IN": 1.6}, parts + resistors(RC=("10", "VCC", "OUT")))
    assert active.amps("Q1.C") / active.amps("Q1.B") >= 30
    for model, least, most in (("npn-10k-10k", 7e3, 13e3), ("npn-4k7-4k7", 3.29e3, 6.11e3)):
        ohms = part("npn_prebiased", model=model)
        assert least < ohms.base_ohms < most  # type: ignore[attr-defined]
        assert 2 * ohms.spread_of("base_ohms") * ohms.base_ohms >= (most - least) / 2  # type: ignore[attr-defined]
    other = parts.replace("npn-10k-10k", "npn-4k7-4k7")
    assert Worked({"OUT": 0.2, "IN": 5}, other).amps("Q1.B") <= 1.8e-3


def test_what_an_open_collector_comparator_sinks() -> None:
    """LM393: at least 6 mA and typically 16 to 18 mA into an output at 1.5 V; at most 1 µA when it lets go at 30 V."""
    parts = "U1: {kind: comparator, pins: {INP: P, INN: N, OUT: OUT, VCC: VCC, GND: GND}}\n"
    low = Worked({"VCC": 5, "P": 0, "N": 1, "OUT": 1.5}, parts)
    assert 6e-3 <= low.amps("U1.OUT") <= 25e-3
    high = Worked({"VCC": 5, "P": 1, "N": 0, "OUT": 30}, parts)
    assert abs(high.amps("U1.OUT")) <= 1e-6


@pytest.mark.parametrize("threshold", [4.63, 4.38, 4.00, 3.08, 2.93, 2.63, 2.32])
def test_thresholds_of_the_three_pin_supervisors(threshold: float) -> None:
    """MAX809 family: L, M, J, T, S, R, Z (Z from memory) let go 2.6 % above and assert 2.6 % below."""
    for volts, released in ((1.026 * threshold, True), (0.974 * threshold, False)):
        watched = Worked(
            {"VCC": volts},
            f"U1: {{kind: supervisor, threshold: {threshold}, pins: {{OUT: OUT, VCC: VCC, GND: GND}}}}\n"
            + resistors(RL=("100k", "OUT", "GND")),
        )
        assert watched.volts("OUT") == pytest.approx(volts if released else 0.0, abs=0.05)
