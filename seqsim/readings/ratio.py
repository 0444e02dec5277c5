"""Readings told beside a known-good board: ``EN 0.4x of good``, ``V5 50% of good ohm``, ``EN 0.3x..0.5x``.

Any number that a meter shows can be told so, volts if no kind is named. The same meter is taken to have read both
boards, so that its gain cancels.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seqsim.errors import ReadingError
from seqsim.quantity import Unit

SIGN = Unit.OF_GOOD.value
EXAMPLE = f"0.4{SIGN}"
PERCENT = 0.01
MOST = 1000.0
"""Largest ratio that is read: beyond it the good board shows next to nothing (our judgement)."""

_OF_GOOD = re.compile(r"\s*\bof\s+(?:an?\s+|the\s+)?(?:known[- ])?good(?:\s+board)?$", re.IGNORECASE)
_TIMES = re.compile(r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+))\s*(?P<sign>[x×%]?)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Ratio:
    """A ratio, or the ends of a range of it, with the worth of the last digit that was written."""

    value: float | tuple[float, float]
    resolution: float | None = None


@dataclass(frozen=True, slots=True)
class Good:
    """What a nominal good board shows at a reading's place, in tip volts, and how other good boards differ.

    ``follows`` and ``own`` (l,) move it for one standard deviation of each latent of the board on the bench, and of
    each that the good board has for itself; ``sd`` is what is left for the reading taken there.
    """

    tip: float
    follows: NDArray[np.float64]
    own: NDArray[np.float64]
    sd: float


def parse_ratio(text: str) -> Ratio | None:
    """Return the ratio that a value tells, None if it tells something else.

    Raises
    ------
    ReadingError
        If no board can read so beside a good one.
    """
    told = _OF_GOOD.sub("", text)
    ends = [_TIMES.fullmatch(end.strip()) for end in re.split(r"\.\.+|…", told)]
    found = [end for end in ends if end is not None]
    if len(found) < len(ends) or len(ends) > 2 or (told == text and not found[-1]["sign"]):
        if told != text:
            raise ReadingError(f"'{text}' is no share of what a good board shows", expected=EXAMPLE)
        return None
    sign = found[-1]["sign"]
    values = [float(end["number"]) * (PERCENT if (end["sign"] or sign) == "%" else 1.0) for end in found]
    if min(values) < 0:
        raise ReadingError(f"'{text}' is negative, which no ratio says plainly: write what this board shows")
    if max(values) > MOST:
        raise ReadingError(f"'{text}' is more than {MOST:g} times what a good board shows: write what this one shows")
    if len(values) == 2:
        low, high = values
        if not low < high:
            raise ReadingError(f"the range '{text}' does not rise", expected=f"0.3x..0.5{SIGN}")
        return Ratio((low, high))
    digits = len(found[0]["number"].partition(".")[2])
    return Ratio(values[0], 10.0**-digits * (PERCENT if sign == "%" else 1.0))


def format_ratio(value: float | tuple[float, float] | str, resolution: float | None) -> str:
    """Return a ratio, or the ends of a range, as it is written, down to the last digit that was read."""
    if isinstance(value, tuple):
        return f"{value[0]!r}x..{value[1]!r}{SIGN}"
    if isinstance(value, str) or resolution is None:
        return f"{value}{SIGN}"
    return f"{value:.{max(-round(math.log10(resolution)), 0)}f}{SIGN}"
