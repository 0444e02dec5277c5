"""Points are solved once: what is asked for later is what would have been found at once."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

import numpy as np
import pytest

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.diagnosis.branch import Branch
from seqsim.diagnosis.conditions import conditions, desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.points import Point, Points
from seqsim.diagnosis.spread import model_latents
from seqsim.readings import measurement, parse_reading
from seqsim.solver.batch import Bench


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    """A small circuit of the library."""
    return read_circuit(library()["inverting_npn"])


def some(circuit: Circuit) -> dict[Hashable, Point]:
    """Points of several faults, at one or two severities."""
    faults = [fault for fault in listed(circuit) if fault.fault is not None][:12]
    branches = [Branch(k, 1.0, fault.modes[0], 4) for k, fault in enumerate(faults)]
    return {(k, s): (branch, s) for k, branch in enumerate(branches) for s in range(min(2, len(branch.severities)))}


def test_more_points_and_more_readings(circuit: Circuit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked for bit by bit, points read and move as when all is asked for at once, and nothing is solved again."""
    at = desk(circuit)
    known, latents, _ = model_latents(at.network)
    sensitive = replace(at, network=known)
    nets = [net for net in circuit.nets() if net not in circuit.grounds]
    texts = [f"{net} 1" for net in nets[:4]] + [f"{nets[0]} 1k ohm"]
    measured = tuple(measurement(circuit, parse_reading(circuit, text)) for text in texts)
    wanted = some(circuit)
    whole = Points(sensitive, latents).at(wanted, conditions(measured), len(measured))
    solved: list[int] = []
    run = Bench.run

    def counted(self: Bench, variants: list[object], *rest: object, **named: object) -> object:
        solved.append(len(variants))
        return run(self, variants, *rest, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(Bench, "run", counted)
    points = Points(sensitive, latents)
    few = dict(list(wanted.items())[:5])
    points.at(few, conditions(measured[:2]), 2)
    assert sum(solved) == 5
    points.at(wanted, conditions(measured[:2]), 2)
    assert sum(solved) == len(wanted)
    found = points.at(wanted, conditions(measured), len(measured))
    assert sum(solved) == 3 * len(wanted)  # once more for two further volts, and once without power
    again = points.at(wanted, conditions(measured), len(measured))
    assert sum(solved) == 3 * len(wanted)
    for one, two, three in zip(whole, found, again, strict=True):
        assert two == pytest.approx(one, abs=1e-9)
        assert np.array_equal(two, three)


def test_points_that_are_forgotten_come_back(circuit: Circuit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where room runs out, points are solved anew."""
    monkeypatch.setattr("seqsim.diagnosis.points.MOST_NUMBERS", 10)
    at = desk(circuit)
    net = next(net for net in circuit.nets() if net not in circuit.grounds)
    measured = (measurement(circuit, parse_reading(circuit, f"{net} 1")),)
    points, wanted = Points(at), some(circuit)
    first = points.at(wanted, conditions(measured), 1)
    second = points.at(wanted, conditions(measured), 1)
    assert np.array_equal(first.tips, second.tips)
    assert first.moves.shape == (len(wanted), 1, 0)
