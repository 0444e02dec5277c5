"""How often the true fault stands first: library boards with one fault, drawn at random, read along the chain.

Run with ``pytest -m benchmark tests/benchmarks/test_diagnosis.py -s``. Parts lie within their tolerances, all device
laws are shifted together, the meter errs within its accuracy. Read are the volts of every net that the target rests
on, in each power state, and the ohms of the rails without power; look-alikes are decided for these readings. The
environment variable ``BOARDS`` says how many faults of each circuit are drawn; without it all are.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from measured_boards import Boards, chain_probes

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis import diagnose
from seqsim.diagnosis.alike import look_alikes
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.report import ranking
from seqsim.readings import Readings

pytestmark = pytest.mark.benchmark

AIM = 0.95


@pytest.mark.parametrize("name", ["beehive_scale", "greenhouse_fan", "organ_blower"])
def test_the_true_group_stands_first(name: str) -> None:
    """Prints the share of boards whose true group is first, group sizes, and stated against observed chances."""
    circuit = read_circuit(library()[name])
    random = np.random.default_rng(1)
    boards = Boards(circuit, chain_probes(circuit))
    faults = listed(circuit)
    alike = look_alikes(boards.desk, faults, offered=boards.probes)
    cases = boards.cases(faults[1:], random)
    chosen = random.permutation(len(cases))[: int(os.environ.get("BOARDS", len(cases)))]
    first, placed, sizes, stated = [], [], [], []
    for fault, severity in (cases[k] for k in chosen):
        readings = boards.draw(fault, severity, random)
        if readings is None:
            continue
        found = ranking(diagnose(circuit, Readings(readings=readings), at=boards.desk, alike=alike), readings)
        groups = [each for each in found.where if each.group >= 0]
        group = alike.group[fault.name]
        first.append(bool(groups) and groups[0].group == group)
        placed.append(found.where[0].group == group or bool(fault.places & set(found.where[0].places)))
        sizes.append(len(alike.members[group]))
        stated.append(found.where[0].probability)
        if not first[-1]:
            lead = found.where[0]
            print(f"  {fault.name}: {lead.place} {lead.probability:.2f} stands first")
    print(
        f"\n{name}: {len(cases)} of {len(faults) - 1} faults move a reading; {len(first)} steady boards: "
        f"true group first {np.mean(first):.3f} (aim {AIM}), true place first {np.mean(placed):.3f}, "
        f"median group {np.median(sizes):g}"
    )
    tenth = np.minimum((10 * np.array(stated)).astype(int), 9)
    for k in range(10):
        here = tenth == k
        if here.any():
            right = np.mean(np.array(placed)[here])
            print(f"  stated {np.mean(np.array(stated)[here]):.2f}: right {right:.2f} of {here.sum()}")
    assert np.mean(first) >= AIM
