"""The likelihood of one way to look: a Gaussian that forgives one slip."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from seqsim.diagnosis.likelihood import conditional, fit, misfits, without_each

Floats = NDArray[np.float64]


def density(residual: Floats, covariance: Floats) -> float:
    """Return the density of a Gaussian, by its definition."""
    if not len(residual):
        return 1.0
    square = residual @ np.linalg.inv(covariance) @ residual
    return float(np.exp(-square / 2) / np.sqrt(np.linalg.det(2 * np.pi * covariance)))


def correlated(random: np.random.Generator, size: int) -> Floats:
    """Return a covariance whose entries hang together."""
    root = random.normal(size=(size, size + 1))
    return np.asarray(root @ root.T)


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8])
def test_a_fit_is_the_sum_over_no_slip_and_each_slip(size: int) -> None:
    """The closed form with the inverse equals dropping each reading in turn, by determinants of what remains."""
    random = np.random.default_rng(size)
    covariance = correlated(random, size)
    observed, predicted = random.normal(size=size), random.normal(size=size)
    slip, span = random.uniform(0.001, 0.05, size), random.uniform(1, 20, size)
    residual = observed - predicted
    none = float(np.prod(1 - slip)) * density(residual, covariance)
    slips = []
    for dropped in range(size):
        kept = [k for k in range(size) if k != dropped]
        chance = slip[dropped] / span[dropped] * float(np.prod(1 - slip[kept]))
        slips.append(chance * density(residual[kept], covariance[np.ix_(kept, kept)]))
    found = fit(observed, predicted, covariance, slip, span)
    assert np.exp(found.none) == pytest.approx(none, rel=1e-9)
    assert np.exp(found.slips) == pytest.approx(slips, rel=1e-9)
    assert np.exp(found.log) == pytest.approx(none + sum(slips), rel=1e-9)


@pytest.mark.parametrize("size", [1, 2, 3, 6])
def test_leaving_one_out_is_a_fit_of_the_others(size: int) -> None:
    """The closed form, with one slip among the others, equals a fit of the readings that are left."""
    random = np.random.default_rng(size)
    covariance = np.stack([correlated(random, size) for _ in range(3)])
    observed, predicted = random.normal(size=size), random.normal(size=(3, size))
    slip, span = random.uniform(0.001, 0.5, size), random.uniform(1, 20, size)
    found = without_each(observed, predicted, covariance, slip, span)
    for c in range(3):
        for dropped in range(size):
            kept = np.delete(np.arange(size), dropped)
            grid = np.ix_(kept, kept)
            left = fit(observed[kept], predicted[c, kept], covariance[c][grid], slip[kept], span[kept])
            assert found[c, dropped] == pytest.approx(left.log, rel=1e-9, abs=1e-9)


def test_misfits_of_many_boards_equal_that_of_each() -> None:
    """One call for many residuals gives what `fit` gives for each alone."""
    random = np.random.default_rng(2)
    covariance = correlated(random, 5)
    slip, span = np.full(5, 0.01), random.uniform(1, 9, 5)
    residuals = random.normal(size=(7, 5)) * 3
    each = [fit(residual, np.zeros(5), covariance, slip, span).misfit for residual in residuals]
    assert misfits(residuals, np.asarray(np.linalg.inv(covariance), dtype=np.float64), slip, span) == pytest.approx(
        each, rel=1e-9
    )


def test_no_readings_say_nothing() -> None:
    """Without readings every hypothesis keeps its prior."""
    assert fit(np.zeros(0), np.zeros(0), np.zeros((0, 0)), np.zeros(0), np.zeros(0)).log == 0.0


def test_a_wild_reading_costs_no_more_than_a_slip() -> None:
    """However far one reading lies, the density falls no lower than the chance of a slip, and says which it was."""
    far = np.array([0.0, 1e6, 0.0])
    found = fit(far, np.zeros(3), np.eye(3) * 0.01, np.full(3, 0.01), np.full(3, 10.0))
    kept = 2 * np.log(0.99) - np.log(2 * np.pi * 0.01)
    assert found.log == pytest.approx(np.log(0.01 / 10) + kept, rel=1e-9)
    assert np.argmax(found.slips) == 1


def test_conditionals_are_those_of_the_textbook() -> None:
    """Two variables: mean m₂ + ρ s₂/s₁ (x₁ - m₁), deviation s₂ √(1 - ρ²) (any textbook; from memory)."""
    first, second, together = 2.0, 0.5, 0.6
    covariance = np.array([[first**2, together * first * second], [together * first * second, second**2]])
    mean, deviation = conditional(covariance, np.array([1.0, 3.0]), np.array([2.5]), np.array([0]), np.array([1]))
    assert mean[0] == pytest.approx(3.0 + together * second / first * 1.5)
    assert deviation[0] == pytest.approx(second * np.sqrt(1 - together**2))


def test_conditionals_given_nothing_are_the_marginals() -> None:
    """Without a known value mean and deviation stay as they were."""
    mean, deviation = conditional(
        np.diag([4.0, 9.0]), np.array([1.0, 2.0]), np.zeros(0), np.zeros(0, int), np.array([1])
    )
    assert (mean[0], deviation[0]) == (2.0, 3.0)


@pytest.mark.parametrize("distance", [0.1, 1.0, 2.0, 3.0])
def test_standardised_residuals_know_what_the_others_say(distance: float) -> None:
    """Independent readings: each residual in its own deviations."""
    found = fit(np.array([distance, 0.0]), np.zeros(2), np.diag([4.0, 1.0]), np.full(2, 0.01), np.full(2, 10.0))
    assert found.standard == pytest.approx([distance / 2, 0.0])


def test_the_order_of_readings_changes_nothing() -> None:
    """A permutation of the readings gives the same likelihood."""
    random = np.random.default_rng(4)
    covariance, residual = correlated(random, 4), random.normal(size=4)
    slip, span = random.uniform(0.001, 0.1, 4), random.uniform(1, 5, 4)
    logs = []
    for order in ([0, 1, 2, 3], [3, 1, 0, 2], [2, 3, 1, 0]):
        at = np.ix_(order, order)
        logs.append(fit(residual[order], np.zeros(4), covariance[at], slip[order], span[order]).log)
    for one, other in combinations(logs, 2):
        assert one == pytest.approx(other, rel=1e-12)
