"""Look-alikes: what no single reading tells apart."""

from __future__ import annotations

from itertools import combinations
from math import erf, sqrt
from pathlib import Path

import numpy as np
import pytest

from seqsim.circuit import library, read_circuit
from seqsim.diagnosis.alike import MISTAKEN, Alike, _mistaken, _seen, grouped, look_alikes
from seqsim.diagnosis.conditions import desk
from seqsim.diagnosis.hypotheses import listed
from seqsim.readings import Probe


@pytest.mark.parametrize("distance", [0.0, 0.5, 1.0, 1.7, 3.0, 6.0])
def test_the_chance_of_a_mistake_between_two_gaussians(distance: float) -> None:
    """At equal odds and widths it is 1 - Φ(d/2), d in deviations (any textbook of detection; from memory)."""
    whole = np.array([1.0])
    apart = [(np.array([0.0]), np.array([2.0]), whole), (np.array([2 * distance]), np.array([2.0]), whole)]
    exact = 0.5 * (1 - erf(distance / 2 / sqrt(2)))
    # bins as wide as the mean distance of six marks: they can only make two look more alike
    assert exact - 1e-9 <= _mistaken(apart)[0, 1] <= exact + 0.13


def test_mistakes_are_symmetric_and_with_itself_certain() -> None:
    """A reading cannot tell a fault from itself: half of all guesses are wrong."""
    random = np.random.default_rng(1)
    kinds = [(random.normal(size=3), np.full(3, 0.3), random.uniform(0.1, 1, 3)) for _ in range(5)]
    found = _mistaken(kinds)
    assert found == pytest.approx(found.T)
    assert np.diag(found) == pytest.approx(np.full(5, 0.5))
    assert 0.0 < MISTAKEN < 0.5


def test_every_two_members_of_a_group_are_alike() -> None:
    """Complete linkage: a chain of likeness makes no group."""
    faults = listed(read_circuit(library()["inverting_npn"]))
    random = np.random.default_rng(3)
    mistaken = random.uniform(0.1, 0.5, (len(faults), len(faults)))
    mistaken = np.maximum(mistaken, mistaken.T)
    np.fill_diagonal(mistaken, 0.5)
    found = Alike.of(grouped([each.name for each in faults], [each.prior for each in faults], mistaken))
    at = {each.name: k for k, each in enumerate(faults)}
    assert sorted(name for names in found.members.values() for name in names) == sorted(at)
    for number, names in found.members.items():
        assert all(found.group[name] == number for name in names)
        assert all(mistaken[at[a], at[b]] > MISTAKEN for a, b in combinations(names, 2))


def test_the_same_event_stands_in_one_group() -> None:
    """Two faults that nothing tells apart stay together, though a third is like one of them by a hair more than needed.

    The third is likelier and comes first; it must not draw one of the two away.
    """
    mistaken = np.array([[0.5, 0.25, 0.15], [0.25, 0.5, 0.5], [0.15, 0.5, 0.5]])
    assert set(grouped(["third", "one", "other"], (0.3, 0.2, 0.1), mistaken).values()) == {("third",), ("one", "other")}


def test_what_is_seen_differs_from_every_healthy_board() -> None:
    """Two healthy boards that read 0 V and 2 V, and three others, at two places."""
    volts, other = np.array([0.0, 2.0, 0.1, 1.0, 2.0]), np.array([1.0, 1.0, 1.1, 1.0, 3.0])
    shown = [(volts, np.full(5, 0.1)), (other, np.full(5, 0.1))]
    assert _seen(shown, np.array([True, True, False, False, False])).tolist() == [False, False, False, True, True]
    assert not _seen(shown, np.zeros(5, dtype=np.bool_)).any()


def test_what_floats_is_not_healthy() -> None:
    """An inverter's input that floats: either reading of its output may be as on a healthy board, both never are."""
    circuit = read_circuit(library()["beehive_scale"])
    found = look_alikes(desk(circuit), listed(circuit))
    assert found.group["U2.A:joint open"] == found.group["VIA2:broken"] != found.group[""]


def test_what_history_leads_to_counts(tmp_path: Path) -> None:
    """The command joined to the rail that it switches: an unlit lamp keeps it low, as one joined to ground is low.

    Were the rail up already, it would hold its own command up; but the board comes to this state from one without.
    """
    path = tmp_path / "lamp.yaml"
    text = library()["p_channel_high_side"].read_text()
    # a lamp of 1 Ω: what little the command feeds into it leaves no volts to read
    path.write_text(text.replace("ohms: 24,", "ohms: 1,").replace("amps: 2}", "amps: 20}"))
    circuit = read_circuit(path)
    twins = ("CHARGE:short to GND", "CHARGE:short to LAMP")
    single = [each for each in listed(circuit) if each.name in ("", *twins)]
    offered = [Probe(kind="volts", place=net, state="charging") for net in ("CHARGE", "Q1_BASE", "M1_GATE", "LAMP")]
    found = look_alikes(desk(circuit), single, offered=offered)
    assert found.group[twins[0]] == found.group[twins[1]] != found.group[""]
