"""The choice of the next probe in the textbook examples of model-based diagnosis.

Examples: J. de Kleer, B. C. Williams, "Diagnosing multiple faults", Artificial Intelligence 32 (1987) 97–130: four
inverters in a row, and three multipliers with two adders. The circuits and which probe is best are quoted from memory;
inputs and outputs of the adders were read in lecture notes on the paper. The entropies were worked out for these tests'
reference by enumeration, apart from this package: a part fails with probability 0.01, a failed inverter gives 0 or 1
with equal odds, and a value that nothing predicts is one of sixteen.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pytest

from seqsim.diagnosis.information import entropy, expected_entropy, information

Diagnosis = frozenset[str]
VALUES = 16


def diagnoses(chance: Mapping[str, float]) -> Iterator[tuple[Diagnosis, float]]:
    """Yield every set of failed parts with its prior."""
    for failed in itertools.product((False, True), repeat=len(chance)):
        prior = np.prod([p if bad else 1 - p for p, bad in zip(chance.values(), failed, strict=True)])
        yield frozenset(itertools.compress(chance, failed)), float(prior)


def inverters(first: float = 0.01) -> tuple[list[Diagnosis], dict[str, np.ndarray]]:
    """Return the diagnoses of a → b → c → d → e with a = 1, e = 0 seen, and the table of each node."""
    chance = dict(zip("ABCD", (first, 0.01, 0.01, 0.01), strict=True))
    joint: dict[tuple[Diagnosis, tuple[int, ...]], float] = {}
    for failed, prior in diagnoses(chance):
        for free in itertools.product((0, 1), repeat=len(failed)):
            given = dict(zip(sorted(failed), free, strict=True))
            nodes = [1]
            for part in chance:
                nodes.append(given.get(part, 1 - nodes[-1]))
            if nodes[-1] == 0:
                key = failed, tuple(nodes)
                joint[key] = joint.get(key, 0.0) + prior / 2 ** len(failed)
    total = sum(joint.values())
    names = sorted({failed for failed, _ in joint}, key=lambda each: (len(each), sorted(each)))
    tables = {node: np.zeros((len(names), 2)) for node in "bcd"}
    for (failed, at), value in joint.items():
        for k, node in enumerate("bcd", start=1):
            tables[node][names.index(failed), at[k]] += value / total
    return names, tables


@pytest.mark.parametrize(
    ("first", "left", "best"),
    [
        (0.01, {"b": 1.318, "c": 1.132, "d": 1.318}, "c"),
        (0.025, {"b": 1.022, "c": 1.071, "d": 1.328}, "b"),
        (0.05, {"b": 0.768, "c": 0.908, "d": 1.169}, "b"),
    ],
)
def test_four_inverters(first: float, left: dict[str, float], best: str) -> None:
    """Equal parts are halved; a part that fails more often draws the probe to its own output."""
    _, tables = inverters(first)
    for node, bits in left.items():
        assert expected_entropy(tables[node]) == pytest.approx(bits, abs=6e-4)
    assert max(tables, key=lambda node: information(tables[node])) == best


def test_four_inverters_before_the_probe() -> None:
    """The entropy of the diagnoses is 2.122 bit, and each single fault has 0.246."""
    names, tables = inverters()
    posterior = tables["b"].sum(axis=1)
    assert entropy(posterior) == pytest.approx(2.122, abs=6e-4)
    single = [p for name, p in zip(names, posterior, strict=True) if len(name) == 1]
    assert single == pytest.approx([0.246] * 4, abs=6e-4)
    assert sum(prior for failed, prior in diagnoses(dict.fromkeys("ABCD", 0.01)) if not failed) == pytest.approx(
        0.960596, abs=1e-6
    )


A, B, C, D, E = 3, 2, 2, 3, 3
SEEN = {"F": 10, "G": 12}
PARTS: dict[str, tuple[str, Callable[[dict[str, int]], int], tuple[str, ...]]] = {
    "M1": ("X", lambda _: A * C, ()),
    "M2": ("Y", lambda _: B * D, ()),
    "M3": ("Z", lambda _: C * E, ()),
    "A1": ("F", lambda at: at["X"] + at["Y"], ("X", "Y")),
    "A2": ("G", lambda at: at["Y"] + at["Z"], ("Y", "Z")),
}


def solutions(failed: Diagnosis, known: dict[str, int]) -> dict[str, int] | None:
    """Return all values that the parts that work imply, forwards and back through an adder; None if they disagree."""
    at = dict(known)
    changed = True
    while changed:
        changed = False
        for part, (out, law, ins) in PARTS.items():
            if part in failed:
                continue
            implied: dict[str, int] = {}
            if all(pin in at for pin in ins):
                implied[out] = law(at)
            elif out in at and sum(pin in at for pin in ins) == 1:
                (missing,) = (pin for pin in ins if pin not in at)
                (have,) = (pin for pin in ins if pin in at)
                implied[missing] = at[out] - at[have]
            for name, value in implied.items():
                if at.setdefault(name, value) != value:
                    return None
                changed |= name not in known
            known = dict(at)
    return at


def polybox(values: int = VALUES) -> tuple[dict[Diagnosis, float], dict[str, np.ndarray]]:
    """Return the posterior of each diagnosis given F = 10 and G = 12, and the table of each inner node."""
    weight: dict[Diagnosis, float] = {}
    implied: dict[Diagnosis, dict[str, int]] = {}
    for failed, prior in diagnoses(dict.fromkeys(PARTS, 0.01)):
        if solutions(failed, SEEN) is None:
            continue
        foretold = solutions(failed, {}) or {}
        for name, value in SEEN.items():  # what is not foretold by the parts that work is one of so many values
            if name not in foretold:
                prior /= values
                foretold = solutions(failed, {**foretold, name: value}) or {}
        weight[failed], implied[failed] = prior, foretold
    total = sum(weight.values())
    tables = {}
    for node in "XYZ":
        levels = sorted({at[node] for at in implied.values() if node in at})
        table = np.zeros((len(weight), values))
        for k, (failed, prior) in enumerate(weight.items()):
            if node in implied[failed]:
                table[k, levels.index(implied[failed][node])] = prior / total
            else:
                table[k] = prior / total / values
        tables[node] = table
    return {failed: prior / total for failed, prior in weight.items()}, tables


def test_three_multipliers_and_two_adders() -> None:
    """The adder A1 and the multiplier M1 lead with 0.4962 each; X is the best probe, then Y, then Z."""
    posterior, tables = polybox()
    minimal = {failed for failed in posterior if not any(other < failed for other in posterior)}
    assert minimal == {frozenset(["A1"]), frozenset(["M1"]), frozenset(["A2", "M2"]), frozenset(["M2", "M3"])}
    assert posterior[frozenset(["M1"])] == pytest.approx(0.4962, abs=1e-4)
    assert posterior[frozenset(["A1"])] == pytest.approx(0.4962, abs=1e-4)
    assert entropy(np.array(list(posterior.values()))) == pytest.approx(1.071, abs=1e-3)
    left = {node: expected_entropy(table) for node, table in tables.items()}
    assert left == pytest.approx({"X": 0.038, "Y": 1.064, "Z": 1.067}, abs=1e-3)


@pytest.mark.parametrize("values", [4, 16, 100])
def test_the_order_of_probes_does_not_rest_on_the_number_of_values(values: int) -> None:
    """X tells most, Z least, however many values a part that failed may give."""
    left = {node: expected_entropy(table) for node, table in polybox(values)[1].items()}
    assert left["X"] < left["Y"] < left["Z"]
