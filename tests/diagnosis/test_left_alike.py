"""Look-alikes as readings leave them: what is one to every meter on this board."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from measured_boards import Boards, displayed, seen

from seqsim.circuit import parse_circuit
from seqsim.diagnosis import Diagnosis, diagnose
from seqsim.diagnosis.alike import MISTAKEN, Alike, look_alikes
from seqsim.diagnosis.hypotheses import Hypothesis, listed
from seqsim.network import vary
from seqsim.network.network import Floats
from seqsim.readings import Probe, Readings

DIVIDER = parse_circuit(
    """\
format: 1
title: A divider that sets a level, invented for this test
supplies: {V5: {volts: 5}}
power_states: {on: {on: [V5]}}
parts:
  R1: {kind: resistor, ohms: 10k, pins: [V5, LEVEL]}
  R2: {kind: resistor, ohms: 100k, pins: [LEVEL, GND]}
target: LEVEL
""",
    "divider.yaml",
)
LOW, LEAK = "R2:low", "LEVEL:leak to GND"
TIMES = 4.0
LEFT = 100e3 / TIMES
PARALLEL = 1 / (1 / LEFT - 1 / 100e3)
"""The leak (Ω) that makes of R2 what a low R2 is: resistors in parallel add their conductances (any textbook)."""
DRAWN = 80


@cache
def boards() -> Boards:
    """Return boards of the divider, read at both its nets."""
    probes = [Probe(kind="volts", place=net, state="on") for net in ("LEVEL", "V5")]
    return Boards(DIVIDER, [*probes, *(Probe(kind="ohms", place=net, state="off") for net in ("LEVEL", "V5"))])


@cache
def faults() -> dict[str, Hypothesis]:
    return {each.name: each for each in listed(DIVIDER)}


def found(name: str, severity: float = 1.0) -> Diagnosis:
    """Rank what a meter shows on a nominal board with a fault."""
    here = boards()
    variant = vary(here.network, faults()[name].modes[0].patches(severity))
    tips = seen(here.desk, [variant], here.measurements).tips[0]
    readings = displayed(here.probes, here.measurements, tips, np.random.default_rng(1))
    return diagnose(DIVIDER, Readings(readings=readings), at=here.desk, offered=here.probes)


def before() -> Alike:
    """Return the look-alikes before any reading."""
    return look_alikes(boards().desk, list(faults().values()), offered=boards().probes)


def together(alike: Alike, *names: str) -> bool:
    return len({alike.group[name] for name in names}) == 1


def test_a_leak_may_be_a_resistor_that_is_low() -> None:
    """Where it is what R2 lacks, and wherever readings began."""
    assert together(found(LOW, TIMES).alike, LOW, LEAK)
    assert together(found(LEAK, PARALLEL).alike, LOW, LEAK)
    assert not together(found(LOW, TIMES).alike, LOW, "")


def test_a_low_resistor_may_be_no_short() -> None:
    """They are alike at first, since either may be a few ohms; half of its ohms tell it from a short."""
    assert together(before(), "R1:low", "R1:short")
    assert not together(found("R1:low", 2.0).alike, "R1:low", "R1:short")
    assert together(found("R1:short").alike, "R1:short", "LEVEL:short to V5")


@pytest.mark.parametrize("other", [LEAK, "R1:high", "R2:short"])
def test_alike_is_what_no_single_reading_tells_apart(other: str) -> None:
    """The best limit on the best reading errs on drawn boards as often as the groups say: more than a fifth, or not."""
    alike = found(LOW, TIMES).alike
    severity = {LEAK: PARALLEL, "R1:high": TIMES, "R2:short": 1.0}[other]
    mistaken = min(_errs(one, two) for one, two in zip(_drawn(LOW, TIMES).T, _drawn(other, severity).T, strict=True))
    assert together(alike, LOW, other) == (mistaken > MISTAKEN)


def test_healthy_keeps_what_hides() -> None:
    """On a board that reads as a healthy one what never shows stays with it, an open resistor does not."""
    alike, hidden = found("").alike, before().members[before().group[""]]
    assert len(hidden) > 1
    assert together(alike, *hidden)
    assert not together(alike, "", "R1:open")


def test_what_is_ruled_out_is_alone() -> None:
    """Readings that leave nothing of a fault leave it no look-alikes either."""
    ruled_out = found("R1:open")
    assert ruled_out.posterior.probability[list(faults()).index(LOW)] < 1e-6
    assert ruled_out.alike.members[ruled_out.alike.group[LOW]] == (LOW,)


def _drawn(name: str, severity: float) -> Floats:
    """Return tip volts (b, r) of boards with a fault, parts within their tolerances."""
    here, random = boards(), np.random.default_rng(3)
    drawn = [here.drawn(random) for _ in range(DRAWN)]
    variants = [vary(at.network, faults()[name].modes[0].patches(severity)) for at in drawn]
    return np.array([seen(a, [v], here.measurements).tips[0] for a, v in zip(drawn, variants, strict=True)])


def _errs(one: Floats, two: Floats) -> float:
    """Return how often the best limit on a reading takes one fault for the other, at equal odds."""
    limits = np.concatenate([one, two])
    below = (one[:, None] < limits).mean(axis=0), (two[:, None] < limits).mean(axis=0)
    return float(0.5 - np.abs(below[0] - below[1]).max() / 2)
