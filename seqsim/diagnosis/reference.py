"""Readings of a known-good board: where they contradict the drawing, and what they tell of parts and device laws.

They are laid beside the healthy board first, place by place: what a good board does not show, the drawing has wrong,
and a ranking would explain a board that nobody has. The others narrow the spreads, for every hypothesis alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.conditions import Desk, conditions
from seqsim.diagnosis.hypotheses import HEALTHY
from seqsim.diagnosis.predict import Branch, Predictor
from seqsim.diagnosis.result import Judged
from seqsim.diagnosis.spread import model_latents, noise
from seqsim.diagnosis.steep import Spread
from seqsim.network.network import Bools, Floats
from seqsim.readings import Reading, Readings, measurement
from seqsim.readings.measurement import Measurement
from seqsim.readings.outcome import Zone
from seqsim.wording import PERCENTILE_95

COMMON_SHARE = 0.5
"""Share of the variance of a value or a device law that two boards of one make have in common (our judgement): parts
of one reel and of one type, and what the model itself has wrong."""
WITHIN = 3.0
"""Standard deviations within which a good board reads as the drawing says."""
WORD_UNEXPECTED = 0.05
"""The same for a word: the chance that a healthy board shows it."""


@dataclass(frozen=True)
class Calibration:
    """What a good board tells of the latents (l) of another: their mean (l,) and a root (l, l) of their covariance."""

    mean: Floats
    root: Floats

    def applied(self, spread: Spread) -> Spread:
        """Return a cell with its moves as they are once the latents are known better."""
        moved = replace(spread.cell, mean=spread.cell.mean + spread.moves @ self.mean)
        return replace(spread, cell=moved, moves=spread.moves @ self.root)

    @cached_property
    def nothing(self) -> bool:
        """Whether the latents are as the drawing leaves them: a product with the root would be the factor itself."""
        return not self.mean.any() and np.array_equal(self.root, np.eye(len(self.mean)))

    def rooted(self, moves: Floats) -> Floats:
        """Return moves (r, l) by as many latents that are independent once these are known."""
        return moves if self.nothing else moves @ self.root

    def latents(self, independent: Floats) -> Floats:
        """Return the latents (l,) that belong to independent ones, see `rooted`."""
        return independent if self.nothing else self.mean + self.root @ independent

    def then(self, other: Calibration) -> Calibration:
        """Return this with what another tells of the latents that are left."""
        return Calibration(self.mean + self.root @ other.mean, self.root @ other.root)


def nothing_known(latents: int) -> Calibration:
    """Return the calibration without a good board."""
    return Calibration(np.zeros(latents), np.eye(latents))


def compared(at: Desk, readings: Readings) -> tuple[tuple[Judged, ...], Calibration | None]:
    """Return the readings of the good board beside what the drawing predicts, and what they calibrate.

    What is known from experience of a rail's ohms counts among them where that rail was measured.
    """
    own = experience(at.circuit, readings)
    taken = (*readings.reference, *own)
    if not taken:
        return (), None
    measurements = tuple(measurement(at.circuit, reading, readings.meter) for reading in taken)
    known, latents, _ = model_latents(at.network)
    predictor = Predictor(replace(at, network=known), conditions(measurements), len(measurements))
    tips, _, _, moves = predictor.nearby([Branch(0, 1.0, HEALTHY.modes[0], 1)], [0], latents)
    around = noise(measurements, predictor.conditions, tips)
    covariance = around.covariance + moves[0] @ moves[0].T
    deviation = np.sqrt(np.diag(covariance))
    z = (around.observed - tips[0]) / deviation
    odd = np.where(around.number, np.abs(z) > WITHIN, _unexpected(measurements, tips[0], deviation))
    judged = []
    for k, (each, reading) in enumerate(zip(measurements, taken, strict=True)):
        low, high = (each.number(tips[0, k] + z * deviation[k]) for z in (-PERCENTILE_95, PERCENTILE_95))
        above = z[k] > 0 if around.number[k] else str(reading.value) not in ("low", "beep", "cold")
        verdict = "as_healthy" if not odd[k] else "high" if above else "low"
        value, unit = reading.value, each.unit.value
        site = reading.place, reading.to, reading.kind, reading.state
        origin = "experience" if k >= len(readings.reference) else "good board"
        judged.append(Judged(*site, value, unit, low, high, verdict, origin))
    known_of = nothing_known(latents.size)
    for origin, share in (("experience", 1.0), ("good board", COMMON_SHARE)):
        used = np.flatnonzero(around.number & ~odd & np.array([each.origin == origin for each in judged]))
        if len(used):
            residual = (around.observed - tips[0])[used] - moves[0][used] @ known_of.mean
            fresh = calibration(
                residual, moves[0][used] @ known_of.root, around.covariance[np.ix_(used, used)], share
            )  # fmt: skip
            known_of = known_of.then(fresh)
    return tuple(judged), known_of


def experience(circuit: Circuit, readings: Readings) -> tuple[Reading, ...]:
    """Return what the circuit file knows of the ohms of rails that were measured, as readings of a good board."""
    measured = {
        each.place for each in readings.readings
        if each.kind == "ohms" and each.to in (None, *circuit.grounds) and not each.interventions
    }  # fmt: skip
    told = {each.place for each in readings.reference if each.kind == "ohms" and each.to in (None, *circuit.grounds)}
    return tuple(
        Reading(kind="ohms", place=rail.net, state=OFF, value=rail.ohms)
        for rail in circuit.rails.values()
        if rail.ohms is not None and rail.net in measured - told
    )


def calibration(residual: Floats, moves: Floats, noise_covariance: Floats, share: float = COMMON_SHARE) -> Calibration:
    """Return what readings of one board say about the latents of another.

    A latent of either board is √c common + √(1 - c) own, each standard normal, c being `COMMON_SHARE`. The readings r
    of the good board are A x + noise, so its latents have the mean K r and the covariance 1 - K A, K = Aᵀ(AAᵀ + R)⁻¹;
    those of the other board have the mean c K r and the covariance 1 - c² K A.

    Parameters
    ----------
    residual, moves, noise_covariance
        Readings less their predictions r (r,), A (r, l), R (r, r).
    share
        The share c; 1 for what is known of all boards of a make, this one among them.
    """
    gain = np.linalg.solve(moves @ moves.T + noise_covariance, moves).T
    covariance = np.eye(moves.shape[1]) - share**2 * gain @ moves
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    return Calibration(share * gain @ residual, vectors * np.sqrt(np.maximum(values, 0.0)))


def _unexpected(measurements: Sequence[Measurement], tips: Floats, deviation: Floats) -> Bools:
    """Tell which words (r,) a healthy board hardly shows."""
    return np.array([
        isinstance(each.observed, Zone) and not each.observed.of_largest
        and float(each.chance(at, sd)) < WORD_UNEXPECTED
        for each, at, sd in zip(measurements, tips.tolist(), deviation.tolist(), strict=True)
    ])  # fmt: skip
