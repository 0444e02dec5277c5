"""What every kind of reading provides; a new kind is one new file beside this one."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from enum import Enum
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seqsim.network import Patch
from seqsim.quantity import Unit
from seqsim.readings.meter import Function, Meter
from seqsim.readings.outcome import Condition, Zone

Floats = NDArray[np.float64]

LIVE_CAUTION = (
    "The board is live: keep off its mains side and off anything above 60 V dc or 30 V rms, use a meter and probes of "
    "the right measurement category, and let no tip bridge two pins; local codes and licensed practice come first."
)
"""The limits are those of hazardous live parts in IEC 61010-031 (read in its scope)."""

DEAD_CAUTION = (
    "Switch off, unplug, take batteries out, drain stored charge through a resistor and verify that it is gone: charge "
    "falsifies this reading and can hurt you and the meter. Wear a wrist strap; local codes and licensed practice "
    "come first."
)


class Site(Enum):
    """What a kind of reading is taken at."""

    NODES = "a net, a pin or a pad"
    SUPPLY = "a supply"
    PART = "a part"


class Kind(ABC):
    """One kind of reading: its words, the patches that the meter adds, and what its display makes of node volts.

    ``volts`` is always the voltage of the first place minus that of the second, with the patches in place.
    """

    name: ClassVar[str]
    """Name in results."""
    words: ClassVar[tuple[str, ...]]
    """Words that name this kind in shorthand, lower case; the first is written back."""
    unit: ClassVar[Unit]
    example: ClassVar[str]
    """A correct value in shorthand, after the place."""
    live: ClassVar[bool]
    """True if the board is powered; the default state is then the last, else `off`."""
    site: ClassVar[Site] = Site.NODES
    shows: ClassVar[Mapping[str, str]] = {}
    """Words that can stand for the value, lower case, each with the form in which it is written back."""
    numeric: ClassVar[bool] = True
    """True if the value can be a number."""
    least: ClassVar[float] = -np.inf
    """Smallest value that makes sense: a passive board has no negative resistance."""
    caution: ClassVar[str]
    cell_volts: ClassVar[float] = 0.3
    """Tip volts by which a reading may move within severities that are taken for one."""
    tested: ClassVar[bool] = False
    """True if the meter reads by a small voltage of its own, or across a shunt, and not the board's volts."""
    by_share: ClassVar[bool] = False
    """True if what no model explains is a share of what is shown, and not an amount that is always the same."""

    @abstractmethod
    def function(self, meter: Meter) -> Function | None:
        """Return the function of the meter that takes this reading, None if it takes no meter."""

    @property
    def latent(self) -> str | None:
        """Name of the gain that all readings of this function of the meter have in common."""
        return f"meter gain, {self.name}" if self.numeric else None

    def places(self, plus: str, minus: str) -> tuple[str, str]:
        """Return the places whose volts are read; by default those of the tips."""
        return plus, minus

    @abstractmethod
    def patches(self, meter: Meter, plus: str, minus: str) -> tuple[Patch, ...]:
        """Return what the meter adds between its tips."""

    def convert(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return what the display shows (in ``unit``); infinite where it shows OL."""
        del meter
        return np.asarray(volts, dtype=np.float64)

    def slope(self, meter: Meter, volts: ArrayLike) -> Floats:
        """Return the derivative of what the display shows by ``volts``."""
        del meter
        return np.ones_like(np.asarray(volts, dtype=np.float64))

    def invert(self, meter: Meter, shown: ArrayLike) -> Floats:
        """Return the volts at which the display shows these values, the inverse of `convert`."""
        del meter
        return np.asarray(shown, dtype=np.float64)

    def most(self, meter: Meter) -> float:
        """Return the value above which the display shows OL."""
        del meter
        return float("inf")

    def outcome(self, meter: Meter, word: str, limit_amps: float | None) -> Zone | Condition:
        """Return what a word of `shows` says about the value; ``limit_amps`` is the limit of the supply read."""
        message = f"{self.name} shows no '{word}' ({meter.name}, {limit_amps})"
        raise ValueError(message)

    def refuse(self, meter: Meter, value: float) -> str | None:
        """Return why a number cannot be such a reading, in a clause that ends in a mend; None if it can."""
        del meter, value
        return None
