"""How far one standard deviation of a knob reaches once patches have turned it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from seqsim.network.elements import Effect, Knob
from seqsim.network.network import Floats
from seqsim.network.patch import Patch, Turn


def shifting(knobs: Iterable[Knob]) -> Mapping[tuple[str, str], int]:
    """Return the numbers of the knobs that shift by a share of where they stand, by owner and name.

    What scales a conductance counts from where it stands by itself.
    """
    return {
        (knob.owner, knob.name): k
        for k, knob in enumerate(knobs)
        if knob.neutral and all(turned.effect is not Effect.SCALE for turned in knob.turned)
    }


def reach(
    patches: Iterable[Patch], shifts: Mapping[tuple[str, str], int], count: int, severity: int = 0
) -> Floats:  # fmt: skip
    """Return the factors (k,) on what one standard deviation of each of ``count`` knobs moves under patches.

    A supply that is stuck at 0 V has no spread of its volts. ``shifts`` are the knobs' numbers from `shifting`,
    ``severity`` the number of a severity where patches have several.
    """
    factors = np.ones(count)
    for patch in patches:
        if isinstance(patch, Turn) and (patch.owner, patch.knob) in shifts:
            values = np.ravel(patch.value)
            factors[shifts[patch.owner, patch.knob]] *= values[min(severity, len(values) - 1)]
    return factors
