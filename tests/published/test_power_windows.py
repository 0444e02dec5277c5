"""Published time windows: a library board keeps them, and breaks the rule of each window that it is moved out of.

T1, T2, T3 of desktop supplies: power-on below 200 ms (required since 2020; below 500 ms before), rise from 10 to 95 %
in 0.2 to 20 ms, PWR_OK 100 to 250 ms after the rails (ATX12V design guide v1.1 and its successor 336521, tables of
timing). Reset of expansion cards: at least 100 ms after power is stable (PCI Express CEM, TPVPERL).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from seqsim.circuit import compile_network, read_circuit, state_gates
from seqsim.network import Source
from seqsim.sequence import PowerUp, power_up
from seqsim.solver import Levels, solve

BOARD = Path(__file__).parents[2] / "circuits" / "planetarium_supply.yaml"


def power(tmp_path: Path, *changes: tuple[str, str]) -> PowerUp:
    text = BOARD.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    path = tmp_path / "board.yaml"
    path.write_text(text, encoding="utf-8")
    return power_up("board", read_circuit(path), draws=0)


def test_keeps_its_rules(tmp_path: Path) -> None:
    """As it stands, the board comes up and holds every window."""
    result = power(tmp_path)
    assert all(rail.came_up for rail in result.rails)
    assert [rule.rule for rule in result.rules if not rule.holds] == []
    assert len(result.rules) == 11


def forced(volts: float | None, ohms: float = 0.01, place: str = "PS_ON#", state: str = "standby") -> Levels:
    """Return the levels of the board with a place forced to a voltage, or left alone."""
    circuit = read_circuit(BOARD)
    patches = () if volts is None else (Source(place, "GND", volts, ohms),)
    return solve(compile_network(circuit), patches, state_gates(circuit, state))


def test_power_on_input() -> None:
    """PS_ON# (ATX12V design guide v1.1, table 15): on at 0.8 V and below, off at 2.0 V and above, open 2.0 to 5.25 V.

    At 0.4 V it gives out at most 1.6 mA.
    """
    assert 2.0 <= forced(None).at("PS_ON#") <= 5.25
    assert forced(0.8).at("V12") == pytest.approx(12, rel=0.05)
    assert forced(2.0).at("V12") < 0.1
    pulled = forced(0.4 - 1.6e-3 * 250, 250)  # what sinks 1.6 mA at 0.4 V sinks no more than that at the pin
    assert pulled.at("PS_ON#") <= 0.4


def test_power_good_output() -> None:
    """PWR_OK (v1.1 table 14, 336521 table 4-10): high 2.4 to 5 V while it gives 200 µA, out of 1 kΩ; low below 0.4 V.

    Low is checked without the 4 mA that the guide lets flow in: on this board R7 stands in their way.
    """
    healthy, loaded = forced(None, state="on"), forced(0.0, 4.7e3, "PWR_OK", "on")
    assert 2.4 <= healthy.at("PWR_OK") <= 5.0
    assert loaded.at("PWR_OK") >= 2.4
    assert loaded.at("PWR_OK") / 4.7e3 >= 200e-6
    ohms = 4.7e3 * (healthy.at("PWR_OK") / loaded.at("PWR_OK") - 1)
    assert ohms == pytest.approx(1e3, rel=0.45)  # the supervisor's own 400 Ω lie in series
    assert forced(None).at("PWR_OK") < 0.4


SLOW_12 = ("start_delay: 2ms, ramp: 12ms", "start_delay: 210ms, ramp: 12ms")
LONG_12 = ("start_delay: 2ms, ramp: 12ms", "start_delay: 2ms, ramp: 30ms")
SHORT_3 = ("start_delay: 4ms, ramp: 6ms", "start_delay: 4ms, ramp: 0.1ms")
LIGHT_3 = ("C7: {kind: capacitor, farads: 1000u", "C7: {kind: capacitor, farads: 22u")
"""Without its large capacitor the rail can rise as fast as its ramp asks; with it, the current limit holds it back."""
ALL = {f"{rail} before PWR_OK" for rail in ("V12", "V5", "V3V3")}


@pytest.mark.parametrize(
    ("changes", "broken"),
    [
        ((SLOW_12,), {"RUN before V12"}),
        ((LONG_12,), {"V12 rises"}),
        ((SHORT_3, LIGHT_3), {"V3V3 rises"}),
        ((("delay: 180ms", "delay: 60ms"),), ALL),
        ((("delay: 180ms", "delay: 300ms"),), ALL),
        ((("delay: 140ms", "delay: 50ms"),), {"PWR_OK before PERST#"}),
    ],
)
def test_leaves_a_window(tmp_path: Path, changes: tuple[tuple[str, str], ...], broken: set[str]) -> None:
    """Moved out of one window, the board breaks the rules of that window, and tells when."""
    found = [rule for rule in power(tmp_path, *changes).rules if not rule.holds]
    assert broken <= {" ".join(rule.rule.split()[: 2 if " rises " in rule.rule else 3]) for rule in found}
    assert all(rule.at is not None and rule.at > 0.1 for rule in found)
