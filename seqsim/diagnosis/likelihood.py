"""The likelihood of readings under one way a board may look: a Gaussian that forgives one slip.

Pure functions of arrays. A board's readings y are Gaussian around a prediction with covariance C: what parts and the
meter's gain share, what each reading has for itself. With a small probability one reading is a slip and says nothing;
dropping reading i from a Gaussian divides its density by that of i given the others, which P = C⁻¹ gives at once:
``N(y₋ᵢ) = N(y) exp((P r)ᵢ² / 2 Pᵢᵢ) √(2π / Pᵢᵢ)``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seqsim.network.network import Floats, Ints

LOG_2PI = float(np.log(2 * np.pi))
SLIP = 0.01
"""Chance that a reading is a slip: a wrong pin, a wrong range, a wrong line."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How one way to look fits: ``log`` density with slips allowed, that of each slip (k,) and of none."""

    log: float
    none: float
    slips: Floats
    misfit: float
    """slip-tolerant χ²: as ``log``, without the determinant"""
    standard: Floats
    """(k,) each reading's residual against what the others predict, in standard deviations"""


def fit(observed: Floats, predicted: Floats, covariance: Floats, slip: Floats, span: Floats) -> Fit:
    """Return the likelihood of ``observed`` (k,) around ``predicted`` (k,) with one slip allowed.

    Parameters
    ----------
    covariance
        (k, k), positive definite.
    slip
        (k,) chance of a slip of each reading.
    span
        (k,) range over which a slip may lie, in the unit of the reading.
    """
    return fits(observed, predicted[None], covariance[None], slip, span)[0]


def fits(observed: Floats, predicted: Floats, covariance: Floats, slip: Floats, span: Floats) -> list[Fit]:
    """Return the likelihood of ``observed`` (k,) around each of many ``predicted`` (c, k), see `fit`.

    ``covariance`` (c, k, k) are theirs, each positive definite.
    """
    count, k = predicted.shape
    if not k:
        return [Fit(0.0, 0.0, np.zeros(0), 0.0, np.zeros(0))] * count
    residual = observed - predicted
    precision = np.linalg.inv(covariance)
    sign, log_determinant = np.linalg.slogdet(covariance)
    pulled = np.einsum("cij,cj->ci", precision, residual)
    own = np.diagonal(precision, axis1=1, axis2=2)
    square = (residual * pulled).sum(axis=1)[:, None]
    kept = np.log1p(-slip)
    none = -square / 2 + kept.sum()
    with np.errstate(invalid="ignore", divide="ignore"):  # of a covariance that is none, refused below
        slips = (
            -square / 2 + pulled**2 / own / 2 + 0.5 * (LOG_2PI - np.log(own)) + np.log(slip / span) + kept.sum() - kept
        )
        standard = pulled / np.sqrt(own)
    normal = -(log_determinant[:, None] + k * LOG_2PI) / 2
    together = np.logaddexp.reduce(np.concatenate([none, slips], axis=1), axis=1)
    return [
        Fit(t + n, o + n, s + n, -2 * t, z)
        if sound > 0
        else Fit(-np.inf, -np.inf, np.full(k, -np.inf), np.inf, np.full(k, np.inf))
        for t, n, o, s, z, sound in zip(
            together.tolist(), normal[:, 0].tolist(), none[:, 0].tolist(), slips, standard, sign.tolist(), strict=True
        )
    ]


def without_each(observed: Floats, predicted: Floats, covariance: Floats, slip: Floats, span: Floats) -> Floats:
    """Return the log likelihood (c, k) of ``observed`` (k,) without each one of them, see `fits`.

    Dropping reading i and another j, the slip, divides the density by that of the two given all others: with z their
    standardised residuals and ρ their correlation in P, its exponent is ``(z_i² + z_j² - 2 ρ z_i z_j) / (1 - ρ²)``.
    """
    k = len(observed)
    residual = observed - predicted
    precision = np.linalg.inv(covariance)
    _, log_determinant = np.linalg.slogdet(covariance)
    pulled = np.einsum("cij,cj->ci", precision, residual)
    own = np.diagonal(precision, axis1=1, axis2=2)
    all_of_them = -((residual * pulled).sum(axis=1) + log_determinant + k * LOG_2PI)[:, None] / 2
    width = (LOG_2PI - np.log(own)) / 2
    z = pulled / np.sqrt(own)
    correlated = precision / np.sqrt(own[:, :, None] * own[:, None, :])
    free = np.maximum(1 - correlated**2, 1e-12)
    both = (z[:, :, None] ** 2 + z[:, None, :] ** 2 - 2 * correlated * z[:, :, None] * z[:, None, :]) / free
    both = (both - np.log(free)) / 2 + width[:, :, None] + width[:, None, :] + np.log(slip / span) - np.log1p(-slip)
    at = np.arange(k)
    both[:, at, at] = z**2 / 2 + width  # no other is a slip
    kept = np.log1p(-slip)
    return np.asarray(np.logaddexp.reduce(both, axis=2) + all_of_them + kept.sum() - kept)


def misfits(residuals: Floats, precision: Floats, slip: Floats, span: Floats) -> Floats:
    """Return the slip-tolerant χ² (n,) of many residuals (n, k) under one covariance, given by its inverse."""
    pulled = residuals @ precision
    own = np.diag(precision)
    square = (residuals * pulled).sum(axis=1)
    kept = np.log1p(-slip)
    none = -square / 2 + kept.sum()
    slips = (
        -square[:, None] / 2 + pulled**2 / own / 2 + 0.5 * (LOG_2PI - np.log(own)) + np.log(slip / span)
        + kept.sum() - kept
    )  # fmt: skip
    return np.asarray(-2 * np.logaddexp.reduce(np.column_stack([none, slips]), axis=1))


def conditional(
    covariance: Floats, mean: Floats, known: Floats, known_at: Ints, wanted_at: Ints
) -> tuple[Floats, Floats]:
    """Return mean and standard deviation (..., w) of entries of Gaussians, each given the values of others.

    ``covariance`` (..., r, r) and ``mean`` (..., r) may be those of many at once. ``known_at`` and ``wanted_at`` are
    index arrays; ``known`` holds the values of the former.
    """
    variance = np.diagonal(covariance, axis1=-2, axis2=-1)[..., wanted_at]
    if not len(known_at):
        return mean[..., wanted_at], np.sqrt(variance)
    cross = covariance[..., wanted_at[:, None], known_at]
    gain = np.linalg.solve(covariance[..., known_at[:, None], known_at], cross.swapaxes(-1, -2)).swapaxes(-1, -2)
    shifted = mean[..., wanted_at] + (gain @ (known - mean[..., known_at])[..., None])[..., 0]
    variance = variance - (gain * cross).sum(axis=-1)
    return shifted, np.sqrt(np.maximum(variance, 1e-18))
