"""Numbers as SPICE reads them: `M` is a thousandth, `MEG` a million, letters after the suffix mean nothing.

Source: the input format of SPICE 2 and 3, University of California at Berkeley (from memory).
"""

from __future__ import annotations

import math
import re

SUFFIXES = {
    "t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "n": 1e-9,
    "p": 1e-12, "f": 1e-15,
}  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)([a-zµΩ%]*)(.*)", re.IGNORECASE | re.DOTALL)
_BENCH = (("G", 1e9), ("M", 1e6), ("k", 1e3), ("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9), ("p", 1e-12))


class SpiceNumberError(ValueError):
    """A text is no number, or one on which SPICE programs disagree."""


def spice_number(text: str) -> float:
    """Return the value of a number with one of SPICE's suffixes.

    Raises
    ------
    SpiceNumberError
        If it is none; `4k7` is refused too, which SPICE reads as 4000, and `10a`, which some programs take for atto.
    """
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise SpiceNumberError(f"'{text}' is no number; SPICE writes numbers like 4.7k, 100n or 2.2MEG")
    digits, letters, rest = match.groups()
    if rest:
        raise SpiceNumberError(
            f"'{text}' goes on after its suffix, and SPICE would read it as {digits}{letters}; write it like 4.7k"
        )
    word = letters.lower()
    suffix = next((known for known in sorted(SUFFIXES, key=len, reverse=True) if word.startswith(known)), "")
    if not suffix and word.startswith("a"):
        raise SpiceNumberError(f"'{text}' is read as atto by some programs and as amperes by others; write {digits}")
    value = float(digits) * SUFFIXES.get(suffix, 1.0)
    if not math.isfinite(value):
        raise SpiceNumberError(f"'{text}' is larger than any quantity on a board; write a smaller one")
    return value


def bench(value: float) -> str:
    """Return a number as a circuit file writes it, exactly: `4.7k`, `100n`, or with a power of ten."""
    if value == 0:
        return "0"
    for prefix, scale in _BENCH:
        short = f"{value / scale:.10g}"
        if abs(value) >= scale and abs(value) < 1000 * scale and float(short) * scale == value and "e" not in short:
            return short + prefix
    return repr(value)
