"""Where straight lines are drawn: severities close enough, and leaders where their board is thought to be."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seqsim.circuit import Circuit, read_circuit
from seqsim.diagnosis import Diagnosis, diagnose
from seqsim.diagnosis.alike import Alike
from seqsim.diagnosis.cells import gaps
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.table import Table
from seqsim.faults import SubMode
from seqsim.parts.part import Severity
from seqsim.quantity import Unit
from seqsim.readings import Readings, measurement, parse_reading

SHORTED = """
format: 1
supplies: {V24: {volts: 24, spread: 1%, ohms: 0.05, amps: 3}}
power_states: {running: {on: [V24]}}
parts:
  R1: {kind: resistor, ohms: 10k, pins: [V24, TAP]}
  R2: {kind: resistor, ohms: 10k, pins: [TAP, GND]}
target: TAP
"""
PARTING = """
format: 1
supplies:
  V3: {volts: 3.3, spread: 2%, ohms: 0.1}
  ASK: {volts: 3.15, spread: 3%, ohms: 100, idle: low}
power_states: {waiting: {on: [V3]}, running: {on: [V3, ASK]}}
parts:
  R1: {kind: resistor, ohms: 47k, tolerance: 1%, pins: [V3, OUT]}
  R2: {kind: resistor, ohms: 4M7, tolerance: 1%, pins: [OUT, GND]}
  D1: {kind: diode, model: schottky-small, pins: {A: OUT, K: ASK}}
target: OUT
"""


def circuit_of(text: str, folder: Path) -> Circuit:
    """Return the circuit of a text."""
    path = folder / "board.yaml"
    path.write_text(text)
    return read_circuit(path)


def diagnosed(circuit: Circuit, *texts: str) -> Diagnosis:
    """Return what readings in shorthand say of a circuit, look-alikes left out."""
    taken = tuple(parse_reading(circuit, text) for text in texts)
    apart = Alike.of({k: (fault.name,) for k, fault in enumerate(listed(circuit))})
    return diagnose(circuit, Readings(readings=taken), alike=apart)


@pytest.mark.parametrize("ohms", [1.13, 1.94, 3.02, 4.4, 6.1])
def test_a_short_on_a_limited_supply_fits_at_every_severity(ohms: float, tmp_path: Path) -> None:
    """A supply at its limit of 3 A stands at 3 A times the short's ohms: volts from one severity to the next.

    Ohm's law says what is read, the short beside 20 kΩ; whatever its ohms, it fits as well as at any other.
    """
    volts = 3 / (1 / ohms + 1 / 20e3)
    found = diagnosed(circuit_of(SHORTED, tmp_path), f"V24 {volts:.3f}", f"TAP {volts / 2:.3f}")
    names = [hypothesis.name for hypothesis in found.hypotheses]
    best = found.posterior.best[names.index("V24:short to GND")]
    severity = found.branches[best.cell.branch].severities[best.cell.middle]
    assert 3 * severity == pytest.approx(volts, abs=0.4)
    assert best.fit.misfit < 3


def test_gaps_lie_where_the_reading_is(tmp_path: Path) -> None:
    """Only severities on either side of what was read are split, and only while they read differently."""
    circuit = circuit_of(SHORTED, tmp_path)
    at = desk(circuit)
    short = next(fault for fault in listed(circuit) if fault.name == "V24:short to GND")
    taken = tuple(parse_reading(circuit, text) for text in ("V24 9.0", "TAP 4.5", "R2.1 4.5"))
    table = Table.of(at, [listed(circuit)[0], short], [], [measurement(circuit, reading) for reading in taken])
    number = next(k for k, branch in enumerate(table.branches) if branch.hypothesis == 1)
    found = diagnose(circuit, Readings(readings=taken), at=at)
    predictions, branches = table.fine(np.array([number])), list(table.branches)
    for _ in range(4):
        wide = gaps(predictions, branches, found.noise, np.full(3, 0.3))
        for item in np.searchsorted(branches[number].where, wide.get(number, [])):
            low, high = sorted(predictions.tips[item - 1 : item + 1, 0])
            assert high - low > 0.3
            assert low - 1.5 < 9.0 < high + 1.5
        if not wide:
            break
        predictions, branches = table.closer(predictions, branches, wide)
    assert not wide
    assert len(branches[number].severities) > 32


def test_severities_taken_later_are_those_taken_at_once(tmp_path: Path) -> None:
    """A branch with added severities predicts what one with all of them does."""
    circuit = circuit_of(SHORTED, tmp_path)
    at = desk(circuit)
    short = next(fault for fault in listed(circuit) if fault.name == "V24:short to GND")
    table = Table.of(at, [listed(circuit)[0], short], [], (measurement(circuit, parse_reading(circuit, "TAP 4")),))
    number = next(k for k, branch in enumerate(table.branches) if branch.hypothesis == 1)
    predictions = table.fine(np.array([0, number]))
    later, branches = table.closer(predictions, table.branches, {number: np.array([0.31, 0.32])})
    branch = branches[number]
    at_once = table.predictor.nominal([replace(branch)])
    assert np.all(np.diff(branch.where) > 0)
    assert later.tips[later.branch == number] == pytest.approx(at_once.tips, abs=1e-9)
    assert later.severity.tolist() == [0, *range(34)]
    assert branch.shares.sum() == pytest.approx(1.0)


def test_shares_reach_from_halfway_to_halfway() -> None:
    """Even points stand for even shares; a point added between two takes its share from both."""
    mode = SubMode("", 1.0, Severity("ohms", Unit.OHM, 1.0, 100.0), lambda _: ())
    assert Branch(0, 1.0, mode, 4).shares == pytest.approx(np.full(4, 0.25))
    assert Branch(0, 1.0, mode, 4, quantiles=(0.125, 0.25, 0.375, 0.875)).shares == pytest.approx(
        [0.1875, 0.125, 0.3125, 0.375]
    )
    assert Branch(0, 1.0, mode, 4, quantiles=(0.25, 0.5)).severities == pytest.approx([10**0.5, 10.0])


@pytest.mark.parametrize("known", ["", "rails: {OUT: {volts: 3, within: 20%, ohms: [3M, 7M]}}\n"])
def test_a_diode_that_is_off_on_this_board_alone(known: str, tmp_path: Path) -> None:
    """On the nominal board OUT leaks into ASK through D1; here ASK is 6 % high and D1 is off: healthy fits.

    A straight line from the nominal board has OUT follow ASK upwards. What OUT reads is the solver's own answer on a
    board whose supply is that high. So it does where something else is known beforehand: the ohms of a rail.
    """
    circuit = circuit_of(PARTING + known, tmp_path)
    high = circuit_of(PARTING.replace("volts: 3.15", "volts: 3.34"), tmp_path)
    texts = ("V3 3", "ASK 3", "OUT 3", "OUT 3 @waiting", "OUT 4M7 ohm")
    measurements = tuple(measurement(circuit, parse_reading(circuit, text)) for text in texts)
    healthy = [Branch(0, 1.0, listed(circuit)[0].modes[0], 1)]
    tips = Predictor(desk(high), conditions(measurements), len(texts)).nominal(healthy).tips[0]
    shown = [float(each.convert(tip)) for each, tip in zip(measurements, tips, strict=True)]
    assert shown[2] < shown[1]
    volts = [f"{name} {value:.3f}" for name, value in zip(("V3", "ASK", "OUT"), shown, strict=False)]
    found = diagnosed(circuit, *volts, f"OUT {shown[3]:.3f} @waiting", f"OUT {shown[4]:.0f} ohm")
    assert (found.calibration is not None) == bool(known)
    assert found.healthy is not None
    assert found.posterior.best[0].fit.misfit < 8
    assert np.abs(found.posterior.best[0].fit.standard).max() < 3
