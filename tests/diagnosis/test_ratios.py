"""What a ratio to a known-good board says: closed forms of a divider, odds, and what nothing can be compared with."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from seqsim.circuit import read_circuit
from seqsim.diagnosis import diagnose
from seqsim.diagnosis.reference import COMMON_SHARE
from seqsim.diagnosis.spread import RESIDUAL_SHARE, RESIDUAL_VOLTS
from seqsim.errors import ReadingError
from seqsim.network import Knob
from seqsim.readings import METER, Readings, parse_reading

VOLTS, SHARE = 10.0, 0.25
"""Of the divider: its supply, and R1 R2 / (R1 + R2)², by which its middle follows the logarithm of either resistor."""


def _variance(ratio: float, digit: float, knobs: Mapping[tuple[str, str], Knob]) -> float:
    """Return the variance (V²) of v - ρ g on a healthy divider, v and g being the middles of two boards of one make.

    var(v - ρ g) = σ² (1 - 2 c ρ + ρ²), as for the ratio of two Gaussians (Hinkley, Biometrika 56 (1969) 635, from
    memory); meter and model err in each of the two readings, the gain of the one meter cancels.
    """
    resistors = sum((VOLTS * SHARE * knobs[name, "ohms"].spread) ** 2 for name in ("R1", "R2"))
    supply = (VOLTS / 2 * knobs["VIN", "volts"].spread) ** 2
    common = (resistors + supply) * (1 - 2 * COMMON_SHARE * ratio + ratio**2)
    model = (max(RESIDUAL_VOLTS, RESIDUAL_SHARE * VOLTS / 2 * ratio) ** 2) + (
        ratio * max(RESIDUAL_VOLTS, RESIDUAL_SHARE * VOLTS / 2)
    ) ** 2
    own = float(METER.volts.digit_sd(VOLTS / 2 * ratio)) ** 2 + (ratio * float(METER.volts.digit_sd(VOLTS / 2))) ** 2
    written = (digit / math.sqrt(12) * VOLTS / 2) ** 2
    return common + model + own + written


@pytest.mark.parametrize(("text", "ratio", "digit"), [("MID 1.000x", 1.0, 1e-3), ("MID 0.98x of good", 0.98, 1e-2)])
def test_the_spread_of_a_ratio_is_that_of_two_boards(divider: Path, text: str, ratio: float, digit: float) -> None:
    """Tolerances of both boards count, less what they have in common, and both readings; the meter's gain does not."""
    circuit = read_circuit(divider)
    found = diagnose(circuit, Readings(readings=(parse_reading(circuit, text),)))
    assert found.healthy is not None
    assert found.noise.observed[0] == pytest.approx(ratio * VOLTS / 2, rel=2e-3)
    expected = _variance(ratio, digit, found.desk.network.knobs)
    assert found.healthy.covariance[0, 0] == pytest.approx(expected, rel=0.02)


def test_two_ratios_share_the_good_board(divider: Path) -> None:
    """Ratios at both ends of a resistor err together as the closed form has it: the good board is the same one."""
    circuit = read_circuit(divider)
    texts = ("MID 1.00x", "VIN to MID 1.00x")
    found = diagnose(circuit, Readings(readings=tuple(parse_reading(circuit, text) for text in texts)))
    assert found.healthy is not None
    knobs = found.desk.network.knobs
    apart = sum((VOLTS * SHARE * knobs[name, "ohms"].spread) ** 2 for name in ("R1", "R2"))
    along = (VOLTS / 2 * knobs["VIN", "volts"].spread) ** 2
    expected = (along - apart) * 2 * (1 - COMMON_SHARE)
    assert found.healthy.covariance[0, 1] == pytest.approx(expected, rel=0.02)


def test_a_ratio_says_what_the_volts_would(shell: Callable[[str], Any], divider: Path) -> None:
    """0.5x of a good board's 5 V leads to what 2.5 V leads to; the documented fields tell the ratio and its unit."""
    told, read = (
        json.loads(shell(f"rank {divider} --read '{text}' --json").out) for text in ("MID 0.50x of good", "MID 2.50")
    )
    assert told["where"][0]["place"] == read["where"][0]["place"]
    assert told["where"][0]["probability"] == pytest.approx(read["where"][0]["probability"], abs=0.1)
    shown = told["readings"][0]
    assert (shown["kind"], shown["value"], shown["unit"], shown["verdict"]) == ("volts", 0.5, "x of good", "low")
    assert 0.9 < shown["healthy_low"] < 1.0 < shown["healthy_high"] < 1.1
    assert "0.5x of good" in shell(f"rank {divider} --read 'MID 0.5x'").out


def test_every_command_that_takes_readings_takes_ratios(shell: Callable[[str], Any], divider: Path) -> None:
    """`next`, `verify` and `why` take a ratio for what it is."""
    assert shell(f"next {divider} --read 'MID 0.5x of good'").code == 0
    verified = json.loads(shell(f"verify {divider} --read 'MID 0.50x of good' --json").out)
    assert verified["verdict"] == "off"
    assert (verified["readings"][0]["verdict"], verified["readings"][0]["unit"]) == ("low", "x of good")
    good = json.loads(shell(f"verify {divider} --read 'MID 1.00x of good' --json").out)
    assert good["readings"][0]["verdict"] == "as_healthy"
    why = json.loads(shell(f"why {divider} MID --read 'MID 0.50x of good' --json").out)
    assert why["measured"]["readings"][0]["volts"] == pytest.approx(2.5, rel=0.01)


@pytest.mark.parametrize(("text", "why"), [("MID 2x @idle", "only 0 V"), ("MID 2x diode", "no number")])
def test_nothing_is_compared_with_nothing(divider: Path, text: str, why: str) -> None:
    """Where a good board shows next to nothing, a ratio is refused in one sentence that says what to write instead."""
    circuit = read_circuit(divider)
    with pytest.raises(ReadingError, match=why):
        diagnose(circuit, Readings(readings=(parse_reading(circuit, text),)))
