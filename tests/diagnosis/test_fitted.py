"""Which boards are looked at closely: a supply that is low costs none its place, and what is far off gets no lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from seqsim.circuit import read_circuit
from seqsim.diagnosis.cells import Cell, leading, score, shared
from seqsim.diagnosis.conditions import desk
from seqsim.diagnosis.fitted import AT_ONCE, fitted
from seqsim.diagnosis.rank import table_of
from seqsim.diagnosis.spread import Noise, noise
from seqsim.diagnosis.steep import Spread
from seqsim.network.network import Floats
from seqsim.readings import METER, measurement, parse_reading
from seqsim.readings.measurement import Measurement

LADDER = """
format: 1
supplies: {VIN: {volts: 20, spread: 3%, ohms: 0.05}}
power_states: {running: {on: [VIN]}}
parts:
"""
RUNGS = 12


def ladder(folder: Path) -> Path:
    """Write a board whose every net follows one supply."""
    rungs = [f"  A{k}: {{kind: resistor, ohms: 1k, tolerance: 1%, pins: [VIN, TAP{k}]}}\n" for k in range(RUNGS)]
    rungs += [f"  B{k}: {{kind: resistor, ohms: 9k, tolerance: 1%, pins: [TAP{k}, GND]}}\n" for k in range(RUNGS)]
    path = folder / "ladder.yaml"
    path.write_text(LADDER + "".join(rungs) + "target: TAP0\n")
    return path


def rough(folder: Path, volts: list[float]) -> tuple[Noise, float, float]:
    """Return what readings of the ladder share, and the rough χ² of a healthy board without and with that."""
    circuit = read_circuit(ladder(folder))
    texts = [f"TAP{k} {each:.3f}" for k, each in enumerate(volts)]
    measurements = tuple(measurement(circuit, parse_reading(circuit, text), METER) for text in texts)
    table = table_of(desk(circuit), measurements)
    apart = noise(measurements, table.predictor.conditions, table.coarse.tips)
    tips, moves = table.healthy_lines()
    together = replace(apart, shared=shared(moves, tips, apart))
    healthy = int(table.healthy[0])
    one_by_one, at_once = (leading(table.coarse, each, len(table.branches))[1][healthy] for each in (apart, together))
    return together, float(one_by_one), float(at_once)


def test_a_low_supply_counts_once_not_in_every_reading(tmp_path: Path) -> None:
    """A board whose supply is two deviations low misses its twelve readings by one cause: χ² 4, about."""
    together, one_by_one, at_once = rough(tmp_path, [18 * 0.94] * RUNGS)
    assert together.shared.shape == (RUNGS, 1)  # the resistors' own 1 % lies within the rough spread
    assert one_by_one > 25
    assert at_once < 5


def test_two_supplies_that_differ_are_told_apart(tmp_path: Path) -> None:
    """Readings half of which are high and half low are no common move, and cost as much as before."""
    _, one_by_one, at_once = rough(tmp_path, [18 * (0.9 if k % 2 else 1.1) for k in range(RUNGS)])
    np.testing.assert_allclose(at_once, one_by_one, rtol=0.03)


class _Asked:
    """Lines of cells that nothing moves; it notes for how many they were asked."""

    def __init__(self) -> None:
        self.cells = 0

    def __call__(self, cells: Sequence[Cell]) -> list[Spread]:
        self.cells += len(cells)
        return [Spread(cell, np.zeros((2, 1)), cell.mean) for cell in cells]


def _cell(branch: int, mean: Floats) -> Cell:
    return Cell(branch, 0.5, 0, np.ones(2), mean, np.zeros((2, 2)), np.zeros(2), (0, 0))


def test_what_lies_far_off_gets_no_lines(tmp_path: Path) -> None:
    """Cells are taken in their order until a whole lot lies far off; fits are those of all cells taken together.

    Of what lies far off only the best of a branch is kept.
    """
    circuit = read_circuit(ladder(tmp_path))
    measurements: tuple[Measurement, ...] = tuple(
        measurement(circuit, parse_reading(circuit, text), METER) for text in ("TAP0 18.00", "TAP1 18.00")
    )
    yes = np.ones(2, dtype=np.bool_)
    around = Noise(np.full(2, 18.0), np.eye(2) * 0.01**2, np.full(2, 20.0), yes, ~yes)
    near = [_cell(AT_ONCE - k, np.full(2, 18.0 + 1e-5 * k)) for k in range(AT_ONCE)]
    far = [_cell(AT_ONCE + 1 + k // 4, np.full(2, 16.0 - 0.1 * (k % 4))) for k in range(3 * AT_ONCE)]
    asked, slip, largest = _Asked(), np.full(2, 0.01), np.full(2, 20.0)
    drawn, scored = fitted([*near, *far], asked, measurements, around, slip, largest, None)
    assert asked.cells == 2 * AT_ONCE
    assert [each.cell.branch for each in drawn] == list(range(1, AT_ONCE + AT_ONCE // 4 + 1))
    assert {each.cell.mean[0] for each in drawn[AT_ONCE:]} == {16.0}
    every = score([each.cell for each in drawn], [each.moves for each in drawn], measurements, around, slip, largest)
    np.testing.assert_allclose([each.log for each in scored], [each.log for each in every], rtol=1e-12)
