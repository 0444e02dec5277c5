"""Severities: their quadrature and their text."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqsim.errors import QuantityError
from seqsim.faults import EvenSeverity, middle
from seqsim.faults.severity import parse_severity, severity_text
from seqsim.parts.part import Severity
from seqsim.quantity import Unit

OHMS = Severity("ohms", Unit.OHM, 0.1, 1e3)
TIMES = Severity("x", Unit.NUMBER, 1.5, 30.0)
PARTS = Severity("gain ÷", Unit.NUMBER, 3.0, 200.0)
SHIFT = EvenSeverity("shift", Unit.VOLT, -0.4, 0.6)


@pytest.mark.parametrize("count", [1, 8, 24, 48])
def test_points_integrate_the_logarithm(count: int) -> None:
    """The mean of ln r over equal-share midpoints of a log-uniform severity is exact: half of ln(low high)."""
    points = OHMS.points(count)
    assert points.shape == (count,)
    assert math.isclose(np.log(points).mean(), math.log(OHMS.low * OHMS.high) / 2, abs_tol=1e-12)


def test_points_integrate_a_curve() -> None:
    """24 points integrate a divider against the severity within 0.2 % of the closed form.

    Mean of r/(r + R) for ln r uniform between ln a and ln b is ln((b + R)/(a + R))/ln(b/a).
    """
    load = 10.0
    exact = math.log((OHMS.high + load) / (OHMS.low + load)) / math.log(OHMS.high / OHMS.low)
    points = OHMS.points(24)
    assert math.isclose((points / (points + load)).mean(), exact, rel_tol=2e-3)


def test_even_points_integrate_a_square() -> None:
    """Points of a uniform severity: mean exact, mean square within the midpoint rule's h²/12."""
    points = SHIFT.points(24)
    step = (SHIFT.high - SHIFT.low) / 24
    assert math.isclose(points.mean(), (SHIFT.low + SHIFT.high) / 2, abs_tol=1e-12)
    exact = (SHIFT.high**3 - SHIFT.low**3) / 3 / (SHIFT.high - SHIFT.low)
    assert math.isclose((points**2).mean(), exact - step**2 / 12, rel_tol=1e-9)


def test_the_middle_is_the_median() -> None:
    """Geometric middle of a log-uniform range, arithmetic of a uniform one, 1 where there is no severity."""
    assert math.isclose(middle(OHMS), 10.0)
    assert math.isclose(middle(SHIFT), 0.1)
    assert middle(None) == 1.0


@pytest.mark.parametrize(
    ("severity", "at", "text"),
    [(OHMS, 8.0, ", 8 Ω"), (OHMS, 0.1, ", 100 mΩ"), (TIMES, 5.0, " x5"), (PARTS, 20.0, " gain ÷20"),
     (SHIFT, -0.25, ", -250 mV")],
)  # fmt: skip
def test_texts(severity: Severity, at: float, text: str) -> None:
    """A factor follows its sign, a quantity a comma."""
    assert severity_text(severity, at) == text
    assert math.isclose(parse_severity(severity, text), at)


@pytest.mark.parametrize(
    ("severity", "text", "at"),
    [(OHMS, "8", 8.0), (OHMS, ", 8R", 8.0), (OHMS, "4k7", 4700.0), (TIMES, "5", 5.0), (TIMES, "×5", 5.0),
     (PARTS, "/20", None), (PARTS, "gain/20", 20.0), (PARTS, "gain ÷ 20", 20.0)],
)  # fmt: skip
def test_other_spellings(severity: Severity, text: str, at: float | None) -> None:
    """Bench spellings are read, signs without their word are not guessed at."""
    if at is None:
        with pytest.raises(QuantityError):
            parse_severity(severity, text)
    else:
        assert math.isclose(parse_severity(severity, text), at)


@pytest.mark.parametrize(
    ("severity", "text"),
    [(OHMS, "80M"), (OHMS, "0"), (OHMS, "-3"), (TIMES, "x0.5"), (SHIFT, "2V"), (OHMS, "5 V"), (OHMS, "")],
)
def test_nonsense_is_refused(severity: Severity, text: str) -> None:
    """What a severity cannot mean is refused with the range that it can."""
    with pytest.raises(QuantityError):
        parse_severity(severity, text)


@given(st.sampled_from([OHMS, TIMES, PARTS, SHIFT]), st.floats(0, 1))
def test_text_round_trips(severity: Severity, share: float) -> None:
    """Any severity survives its own text to three digits."""
    at = severity.low + share * (severity.high - severity.low)
    assert math.isclose(parse_severity(severity, severity_text(severity, at)), at, rel_tol=5.1e-3, abs_tol=1e-12)
