"""What a reading that fits nothing may have been meant as: the same digits with another prefix."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from seqsim.diagnosis.likelihood import conditional
from seqsim.quantity import format_quantity
from seqsim.readings import Reading

if TYPE_CHECKING:
    from seqsim.diagnosis.rank import Diagnosis

PREFIXES = (1e3, 1e-3, 1e6, 1e-6)
"""Factors between what was written and what was meant: millivolts for volts, kilohms for ohms."""
FITS = 3.0
"""Standard deviations within which the value that was meant must fit what the other readings say."""


def meant(found: Diagnosis, k: int, reading: Reading) -> str:
    """Return which value a reading may have been meant as, in a clause; nothing if no prefix makes it fit.

    It must fit what the likeliest hypothesis expects there, given all other readings.
    """
    best = found.posterior.best.get(int(np.argmax(found.posterior.probability)))
    if best is None or not found.noise.number[k] or not isinstance(reading.value, float) or not reading.value:
        return ""
    each = found.measurements[k]
    others = np.array([n for n in np.flatnonzero(found.noise.number) if n != k], dtype=np.int64)
    mean, deviation = conditional(
        best.covariance, best.cell.mean, found.noise.observed[others], others, np.array([k])
    )  # fmt: skip
    for factor in PREFIXES:
        value = reading.value * factor
        if each.kind.refuse(each.meter, value) is None:
            tip = float(each.invert(value))
            if abs(tip - float(mean[0])) <= FITS * float(deviation[0]):
                return f"you may have meant {format_quantity(value, each.unit)}"
    return ""
