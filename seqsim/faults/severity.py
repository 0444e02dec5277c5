"""How bad a fault is: distributions beside the log-uniform one, and severities as text."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seqsim.errors import QuantityError
from seqsim.network import Effect, Network, Patch, Turn
from seqsim.parts.part import Severity
from seqsim.quantity import Unit, format_quantity, parse_quantity

BEYOND = 1000.0
"""A severity that a person gives may lie this factor outside the range that is assumed when none is given."""

_WORDS = {"÷": r"(?:÷|/)", "x": r"(?:x|×)"}


@dataclass(frozen=True, slots=True)
class EvenSeverity(Severity):
    """A severity that is uniform between ``low`` and ``high``: shifts in volts, shares of a nominal value."""

    def at(self, quantiles: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the severities below which these shares (q,) of the distribution lie."""
        return np.asarray(self.low + (self.high - self.low) * quantiles)


def one_at_a_time(network: Network, patches: Iterable[Patch]) -> bool:
    """Tell whether severities of these patches need a variant each, because they move a threshold of a rule.

    Hinges take an array of severities in one variant; a rule has one threshold for all of them.
    """
    turns = (patch for patch in patches if isinstance(patch, Turn))
    return any(turned.effect is Effect.ROW for turn in turns for turned in network.knobs[turn.owner, turn.knob].turned)


def middle(severity: Severity | None) -> float:
    """Return the median of a severity, 1 where a fault has none."""
    return 1.0 if severity is None else float(severity.points(1)[0])


def severity_text(severity: Severity, at: float) -> str:
    """Return what follows a fault's name: `` x5`` for a factor, ``, 8 Ω`` for a quantity with a unit."""
    if severity.unit is Unit.NUMBER:
        return f" {severity.quantity}{at:.3g}"
    return f", {format_quantity(at, severity.unit)}"


def parse_severity(severity: Severity, text: str) -> float:
    """Return the severity in what follows a fault's name: ``x5``, ``, 8 Ω``, ``8R``.

    Raises
    ------
    QuantityError
        If the text is no such quantity, or lies far outside what the fault can mean.
    """
    stripped = text.strip(" ,")
    if severity.unit is Unit.NUMBER:
        words = "".join(_WORDS.get(letter, re.escape(letter)) for letter in severity.quantity.replace(" ", ""))
        stripped = re.sub(f"^{words}", "", stripped.replace(" ", ""))
    at = parse_quantity(stripped, severity.unit)
    low, high = _limits(severity)
    if not low <= at <= high:
        least, most = (severity_text(severity, end).removeprefix(",").strip() for end in (severity.low, severity.high))
        given = text.strip(" ,")
        message = f"'{given}' is beyond what this fault can mean; give {least} to {most}"
        raise QuantityError(message, expected=f"{least} to {most}", got=given)
    return at


def _limits(severity: Severity) -> tuple[float, float]:
    if isinstance(severity, EvenSeverity):
        return severity.low, severity.high
    # a factor that makes worse never makes better
    low = 1.0 if severity.unit is Unit.NUMBER and severity.low >= 1 else severity.low / BEYOND
    return low, severity.high * BEYOND
