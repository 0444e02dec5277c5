"""Logic levels of the interface standards and of logic families, at the pins of gates."""

from __future__ import annotations

import pytest
from textbook import resistors
from worked import Worked

from seqsim.parts.gate import FAMILIES

STANDARDS = [
    # LVTTL, JESD8C.01 (seen in vendors' restatements)
    ("lvc", 3.3, 2.0, 0.8),
    # 2.5 V, JESD8-5A, normal range (seen in a vendor's restatement)
    ("lvc", 2.5, 1.7, 0.7),
    # 1.8 V, JESD8-7A: 0.65 and 0.35 VDD (seen in a vendor's restatement)
    ("lvc", 1.8, 1.17, 0.63),
    # 74LVC1G at 4.5 to 5.5 V: 0.7 and 0.3 VCC (seen, HD74LVC04)
    ("lvc", 5.0, 3.5, 1.5),
    # 1.2 V, JESD8-12: 0.65 and 0.35 VDD (seen in a vendor's restatement)
    ("aup", 1.2, 0.78, 0.42),
    # 1.5 V: 0.65 and 0.35 VDD (seen in a vendor's restatement, Intel 683794)
    ("lvc", 1.5, 0.975, 0.525),
    ("aup", 1.5, 0.975, 0.525),
    # 74LVC1G at 2.7 to 3.0 V (seen, HD74LVC04)
    ("lvc", 3.0, 2.0, 0.8),
    # the AUP family at its upper supplies (seen, data sheet SCES502)
    ("aup", 2.5, 1.6, 0.7),
    ("aup", 3.3, 2.0, 0.9),
    # 74HC: 0.7 and 0.3 VCC (from memory, not checked against the text)
    ("hc", 4.5, 3.15, 1.35),
    # CMOS 4000 at 5 V (seen, Lessons in Electric Circuits IV)
    ("4000", 5.0, 3.5, 1.5),
    # TTL levels: 74HCT and 74LS (seen, MM74HCT00, DM74LS08), VHC1GT (seen, MC74VHC1GT125)
    ("hct", 5.0, 2.0, 0.8),
    ("hct", 4.5, 2.0, 0.8),
    ("vhct", 5.0, 2.0, 0.8),
    ("vhct", 3.0, 1.4, 0.45),
    ("ls", 5.0, 2.0, 0.8),
]


def buffer(family: str, supply: float, volts: float, load: str = "") -> Worked:
    gate = f"U1: {{kind: buffer, family: {family}, supply_volts: {supply}, pins: [A, Y, VCC, GND]}}\n"
    return Worked({"VCC": supply, "A": volts}, gate + load)


@pytest.mark.parametrize(("family", "supply", "high", "low"), STANDARDS)
def test_guaranteed_input_levels(family: str, supply: float, high: float, low: float) -> None:
    """VIH is read as high and VIL as low, with the switching threshold three deviations from both."""
    assert buffer(family, supply, high).volts("Y") > 0.7 * supply - 0.6
    assert buffer(family, supply, low).volts("Y") < 0.1
    spread = buffer(family, supply, low).network.knobs["U1", "threshold"].spread
    assert 6 * spread == pytest.approx(high - low, rel=0.02)


@pytest.mark.parametrize(
    ("family", "supply", "milliamps", "high", "low"),
    [
        ("lvc", 3.3, 2.0, 2.4, 0.4),  # LVTTL, JESD8C.01 (test current from memory)
        ("lvc", 3.3, 0.1, 3.1, 0.2),  # LVCMOS, JESD8C.01: VDD - 0.2 V and 0.2 V at 100 µA (from memory)
        ("lvc", 2.5, 1.0, 2.0, 0.4),  # JESD8-5A
        ("lvc", 2.5, 2.0, 1.7, 0.7),  # likewise at 2 mA (from memory)
        ("lvc", 1.5, 2.0, 1.125, 0.375),  # 0.75 and 0.25 VDD (Intel 683794)
        ("aup", 1.2, 2.0, 0.9, 0.3),  # JESD8-12: 0.75 and 0.25 VDD
        ("lvc", 3.0, 16.0, 2.4, 0.4),  # 74LVC1G data sheets (from memory); HD74LVC04 asks less
        ("lvc", 3.0, 24.0, 2.3, 0.55),  # likewise
        ("hc", 4.5, 4.0, 3.84, 0.33),  # 74HC, -40 to 85 °C (outputs as the HCT rows)
        ("hc", 4.5, 0.02, 4.4, 0.1),  # likewise at 20 µA
        ("hct", 4.5, 0.02, 4.4, 0.1),  # MM74HCT00: VCC - 0.1 V
        ("hct", 4.5, 4.0, 3.98, 0.26),  # CD74HCT08, at 25 °C
        ("lvc", 1.8, 2.0, 1.35, 0.45),  # JESD8-7A: VDD - 0.45 V and 0.45 V
        ("lvc", 5.0, 24.0, 3.8, 0.55),  # HD74LVC04
        ("hct", 4.5, 4.0, 3.84, 0.33),  # CD74HCT08, up to 85 °C
        ("ls", 5.0, 0.4, 2.7, 0.5),  # DM74LS08
        ("4000", 5.0, 0.001, 4.95, 0.05),  # Lessons in Electric Circuits IV
    ],
)
def test_guaranteed_output_levels(family: str, supply: float, milliamps: float, high: float, low: float) -> None:
    """VOH and VOL at the standard's current."""
    to_ground = resistors(RL=(repr(high / milliamps * 1e3), "Y", "GND"))
    to_supply = resistors(RL=(repr((supply - low) / milliamps * 1e3), "Y", "VCC"))
    assert buffer(family, supply, supply, to_ground).volts("Y") >= high
    assert buffer(family, supply, 0, to_supply).volts("Y") <= low


def test_an_ls_output_sinks_eight_milliamperes() -> None:
    """At most 0.5 V at 8 mA (DM74LS08; Lessons in Electric Circuits IV)."""
    assert buffer("ls", 5.0, 0, resistors(RL=(repr(4.5 / 8e-3), "Y", "VCC"))).volts("Y") <= 0.5


def test_an_aup_gate_at_its_least_supply() -> None:
    """At 0.8 V an input is high at VCC and low at 0 V (SN74AUP1G08, SCES502)."""
    assert buffer("aup", 0.8, 0.8).volts("Y") > 0.7
    assert buffer("aup", 0.8, 0.0).volts("Y") < 0.1


def test_ttl_noise_margins() -> None:
    """LS outputs clear LS inputs by 0.7 V high and 0.3 V low (2.7 and 2.0 V, 0.5 and 0.8 V; Lessons, volume IV)."""
    (levels,) = FAMILIES["ls"].levels
    assert levels.output_high - levels.input_high == pytest.approx(0.7)
    assert levels.input_low - levels.output_low == pytest.approx(0.3)


@pytest.mark.parametrize(("family", "pin_volts", "most"), [("lvc", 5.5, 10e-6), ("aup", 3.6, 0.2e-6)])
def test_leakage_of_unpowered_gates(family: str, pin_volts: float, most: float) -> None:
    """Ioff into a gate without supply: at most 10 µA at 5.5 V (SN74LVC1G08), 0.2 µA at 3.6 V, 25 °C (SN74AUP1G08)."""
    parts = f"U1: {{kind: and, family: {family}, pins: {{A: A, B: B, Y: Y, VCC: V, GND: GND}}}}\n"
    dead = Worked({"A": pin_volts, "Y": pin_volts}, parts + resistors(RB=("10k", "B", "GND"), RV=("1k", "V", "GND")))
    assert abs(dead.amps("U1.A")) <= most
    assert abs(dead.amps("U1.Y")) <= most
    assert dead.volts("V") < 0.01
