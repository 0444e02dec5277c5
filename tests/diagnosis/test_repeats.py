"""Readings that were taken more than once."""

from __future__ import annotations

import numpy as np
import pytest

from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.repeats import SLIP_REPEATED, repeats, settled
from seqsim.diagnosis.spread import Noise
from seqsim.readings import Reading

DIGIT = 0.01


def taken(*values: float | str, place: str = "EN") -> list[Reading]:
    return [Reading(kind="volts", place=place, state="on", value=value) for value in values]


def noise(readings: list[Reading]) -> Noise:
    """Return the noise of a meter that is right to ten millivolts."""
    number = np.array([isinstance(reading.value, float) for reading in readings], dtype=np.bool_)
    observed = np.array([reading.value if isinstance(reading.value, float) else 0.0 for reading in readings])
    count = len(readings)
    return Noise(observed, np.eye(count) * DIGIT**2, np.full(count, 5.0), number, np.zeros(count, dtype=np.bool_))


@pytest.mark.parametrize(
    ("values", "expected", "done"),
    [
        ((3.3,), [SLIP], False),
        ((3.3, 3.29), [SLIP_REPEATED, SLIP_REPEATED], True),
        ((3.3, 0.02), [0.5, 0.5], False),
        ((3.3, 0.02, 3.31), [SLIP_REPEATED, 1.0, SLIP_REPEATED], True),
        ((3.3, 0.02, 1.2), [2 / 3, 2 / 3, 2 / 3], True),
        (("OL", "OL"), [SLIP_REPEATED, SLIP_REPEATED], True),
        (("OL", 20.0), [0.5, 0.5], False),
        (("OL", 20.0, "OL"), [SLIP_REPEATED, 1.0, SLIP_REPEATED], True),
    ],
)
def test_readings_of_one_place_vote(values: tuple[float | str, ...], expected: list[float], done: bool) -> None:  # noqa: FBT001
    """Alike they hardly are slips, apart one of them is, and the majority decides; three times are enough."""
    readings = taken(*values)
    counted, chance = repeats(readings, noise(readings))
    assert chance.tolist() == pytest.approx(expected)
    assert settled(readings, chance).tolist() == [done] * len(values)
    outvoted = chance == 1
    assert not counted.number[outvoted].any()
    assert (counted.number == noise(readings).number)[~outvoted].all()


def test_alike_readings_are_as_far_apart_as_they_may_be() -> None:
    """What two alike readings differ by is their own noise: they lie within two standard deviations of each other."""
    readings = taken(3.3, 3.27)
    counted, _ = repeats(readings, noise(readings))
    own = counted.covariance
    assert 2 * np.sqrt(own[0, 0] + own[1, 1] - 2 * own[0, 1]) > 0.03
    assert noise(readings).covariance[0, 0] < own[0, 0] < 0.03**2


def test_other_places_and_other_boards_have_no_vote() -> None:
    """The same value elsewhere, in another power state or on a good board is another reading."""
    here, there = taken(3.3, place="EN")[0], taken(3.3, place="V3")[0]
    readings = [here, there, here.model_copy(update={"state": "off"}), here.model_copy(update={"of_good": True})]
    _, chance = repeats(readings, noise(readings))
    assert chance.tolist() == [SLIP] * 4
    assert not settled(readings, chance).any()
