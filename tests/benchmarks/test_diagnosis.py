"""How often the true fault stands first: library boards with one fault, drawn at random, read along the chain.

Run with ``pytest -m benchmark tests/benchmarks/test_diagnosis.py -s``. Parts lie within their tolerances, all device
laws are shifted together, the meter errs within its accuracy. Read are the volts of every net that the target rests
on, in each power state, and the ohms of the rails without power; faults that move one of these volts by more than
0.1 V are drawn, and look-alikes are decided for these readings. Every board drawn has a fault, so the chance of a
healthy one is left out of what is counted.

Faults are drawn in two ways: evenly, and ranked with even priors too; or by their priors, as boards come to a bench.
Only so do stated and observed chances belong together. The mean chance that is stated of the leading group, of those
with a fault, is printed beside the share on which it is right: where the two agree, the readings told no more. The
environment variable ``BOARDS`` says how many boards of each kind are read (100).
"""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from measured_boards import Boards, chain_probes, drawn_severity
from shares import share_text

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis import Diagnosis, diagnose
from seqsim.diagnosis.hypotheses import listed
from seqsim.diagnosis.rank import table_of
from seqsim.diagnosis.report import where_of
from seqsim.diagnosis.result import Where
from seqsim.readings import Readings

pytestmark = pytest.mark.benchmark

AIM = 0.95


def faulty(found: Diagnosis) -> list[Where]:
    """Return where the fault is, the likeliest first; what hides stands with a healthy board, less its own share."""
    group, healthy = found.alike.group[""], float(found.posterior.probability[0])
    left = [
        replace(each, probability=each.probability - healthy) if each.group == group else each
        for each in where_of(found)
    ]  # fmt: skip
    return sorted(left, key=lambda each: -each.probability)


@pytest.mark.parametrize("drawn", ["evenly", "by priors"])
@pytest.mark.parametrize("name", ["beehive_scale", "greenhouse_fan", "organ_blower"])
def test_the_true_group_stands_first(name: str, drawn: str) -> None:
    """Prints the share of boards whose true group is first, group sizes, and stated against observed chances."""
    circuit = read_circuit(library()[name])
    random = np.random.default_rng(5)
    boards = Boards(circuit, chain_probes(circuit))
    faults = listed(circuit)
    cases = [fault for fault, _ in boards.cases(faults[1:], random)]
    even = {fault.name: 1 / fault.prior for fault in faults[1:]} if drawn == "evenly" else None
    shares = np.array([1.0 if even else fault.prior for fault in cases])
    table = table_of(boards.desk, boards.measurements, even)
    first: list[bool] = []
    placed: list[bool] = []
    sizes: list[int] = []
    stated: list[float] = []
    told: list[float] = []
    while len(first) < int(os.environ.get("BOARDS", "100")):
        fault = cases[int(random.choice(len(cases), p=shares / shares.sum()))]
        severity = drawn_severity(fault, random)
        if not boards.moves([fault], [severity])[0]:
            continue
        readings = boards.draw(fault, severity, random)
        if readings is None:
            continue
        taken = Readings(readings=readings)
        raw = diagnose(circuit, taken, factors=even, at=boards.desk, table=table, offered=boards.probes)
        alike, where = raw.alike, faulty(raw)
        groups = [each for each in where if each.group >= 0]
        group, lead = alike.group[fault.name], where[0]
        first.append(bool(groups) and groups[0].group == group)
        placed.append(lead.group == group or bool(fault.places & set(lead.places)))
        sizes.append(len(alike.members[group]))
        stated.append(lead.probability)
        told.append(groups[0].probability / max(sum(each.probability for each in where), 1e-300) if groups else 0.0)
        if not first[-1]:
            print(f"  {fault.name} at {severity:.3g}: {lead.place} {lead.probability:.2f} stands first")
    print(
        f"\n{name}, faults drawn {drawn}, {len(cases)} of {len(faults) - 1} move a reading: true group first "
        f"{share_text(sum(first), len(first))} (stated {np.mean(told):.2f}, aim {AIM}), "
        f"true place first {share_text(sum(placed), len(placed))}, "
        f"median group {np.median(sizes):g}"
    )
    tenth = np.minimum((10 * np.array(stated)).astype(int), 9)
    for k in range(10):
        here = tenth == k
        if here.any():
            right = np.array(placed)[here]
            print(f"  stated {np.mean(np.array(stated)[here]):.2f}: right {share_text(int(right.sum()), len(right))}")
    assert np.mean(first) >= AIM
