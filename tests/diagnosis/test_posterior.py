"""None of these, oddness, and the cells that severities fall into."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seqsim.diagnosis.cells import Cell, Scored, cells_of
from seqsim.diagnosis.hypotheses import HEALTHY, NONE_PRIOR
from seqsim.diagnosis.likelihood import fit
from seqsim.diagnosis.posterior import none_of_these, oddness, posterior
from seqsim.diagnosis.predict import Branch, Predictions
from seqsim.diagnosis.spread import Noise
from seqsim.faults import SubMode
from seqsim.network.network import Floats
from seqsim.parts.part import Severity
from seqsim.quantity import Unit

READINGS = 4
SLIP = np.full(READINGS, 0.01)
VOLTS = np.ones(READINGS, dtype=np.bool_)
NOISE = Noise(np.zeros(READINGS), np.eye(READINGS) * 1e-4, np.full(READINGS, 5.0), VOLTS, ~VOLTS)


def scored(observed: Floats, mean: Floats, covariance: Floats) -> Scored:
    """Return one cell of a hypothesis with the fit of what was read."""
    cell = Cell(0, 1.0, 0, np.ones(READINGS), mean, np.zeros_like(covariance), np.zeros(READINGS), (0, 0))
    found = fit(observed, mean, covariance, SLIP, NOISE.span)
    return Scored(cell, covariance, found, np.zeros(READINGS), found.log)


def test_oddness_is_uniform_under_its_own_hypothesis() -> None:
    """Boards drawn under a hypothesis are as odd as 600 others: shares of ranks are even within their own scatter."""
    random = np.random.default_rng(5)
    root = random.normal(size=(READINGS, READINGS)) * 0.1
    covariance = root @ root.T + np.eye(READINGS) * 1e-4
    mean, boards = np.array([0.0, 1.0, 2.0, 3.3]), 400
    odd = []
    for _ in range(boards):
        read = random.multivariate_normal(mean, covariance)
        read = np.where(random.random(READINGS) < SLIP, random.uniform(0, 5, READINGS), read)
        odd.append(oddness([scored(read, mean, covariance)], NOISE, SLIP))
    shares = np.histogram(odd, bins=5, range=(0, 1))[0] / boards
    # 400 boards in five bins: 2 % of scatter in each, and as much again from the 600 simulated ones
    assert shares == pytest.approx(np.full(5, 0.2), abs=0.09)


def test_none_of_these_grows_with_oddness() -> None:
    """The odder the readings, the likelier that none of these explains them; beyond all simulated boards near one."""
    odd = [1.0, 0.5, 0.1, 0.01, 1e-3, 1e-6, 1e-12, 0.0]
    found = [none_of_these(each) for each in odd]
    assert found == sorted(found)
    assert found[0] < NONE_PRIOR
    assert found[-1] == pytest.approx(1.0)


def test_a_misfit_beyond_all_simulated_boards_goes_on_counting() -> None:
    """Two readings off by more and more: the chance of such a board falls and falls."""
    mean, covariance = np.zeros(READINGS), np.eye(READINGS) * 1e-4
    odd = []
    for far in (0.06, 0.09, 0.12):
        read = np.array([far, far, 0.0, 0.0])
        # no slips: a simulated board with two of them would be odder still
        odd.append(oddness([scored(read, mean, covariance)], NOISE, np.full(READINGS, 1e-9)))
    assert odd[0] > odd[1] > odd[2] > 0.0


def test_probabilities_follow_bayes() -> None:
    """Two hypotheses and none of these add up to one; their ratio is that of prior times likelihood."""
    hypotheses = [replace(HEALTHY, prior=0.3), replace(HEALTHY, name="other", prior=0.1)]
    branches = [Branch(h, 1.0, HEALTHY.modes[0], 1) for h in range(2)]
    read, covariance = np.full(READINGS, 0.05), np.eye(READINGS) * 0.01
    first, second = scored(read, np.zeros(READINGS), covariance), scored(read, np.full(READINGS, 0.1), covariance)
    second = replace(second, cell=replace(second.cell, branch=1))
    found = posterior(hypotheses, branches, [first, second], NOISE, SLIP)
    assert found.probability.sum() + found.none == pytest.approx(1.0)
    assert found.probability[0] / found.probability[1] == pytest.approx(3.0 * np.exp(first.log - second.log))


def test_cells_partition_the_severities() -> None:
    """Every good point falls into one cell, whose weights add up to that of the branch."""
    tips = np.concatenate([np.linspace(0, 0.25, 6), np.linspace(0.6, 3.0, 9), [3.0]])[:, None]
    count = len(tips)
    predictions = Predictions(
        np.zeros(count, dtype=np.int64), np.arange(count), tips, np.ones((count, 1)),
        np.zeros((count, 1), dtype=np.bool_), np.arange(count) != 3,
    )  # fmt: skip
    mode = SubMode("", 1.0, Severity("ohms", Unit.OHM, 0.1, 1e3), lambda _: ())
    branches = [Branch(0, 0.5, mode, count)]
    found = list(cells_of(predictions, branches, np.array([0]), np.array([0.3])))
    assert sum(cell.weight for cell in found) == pytest.approx(0.5)
    assert sum(cell.weight * cell.mean[0] for cell in found) / 0.5 == pytest.approx(np.delete(tips, 3).mean())
    assert found[0].weight == pytest.approx(0.5 * 5 / (count - 1))
    assert all(np.linalg.eigvalsh(cell.own).min() >= -1e-15 for cell in found)
    middles = [cell.middle for cell in found]
    assert middles == sorted(set(middles))
