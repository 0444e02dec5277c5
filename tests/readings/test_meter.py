"""The meter as a described object."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pydantic import BaseModel, ValidationError

from seqsim.errors import QuantityError
from seqsim.readings import METER, Accuracy, Meter, parse_accuracy
from seqsim.readings.meter import Function, Ohms, Volts


@pytest.mark.parametrize(
    "text", ["0.8% + 5", "0.8%+5", "±(0.8 % + 5)", "(0.8% + 5 counts)", "0.8% of reading + 5 digits"]
)
def test_accuracy_is_read_as_manuals_print_it(text: str) -> None:
    """The share of the reading and the counts are found in the usual spellings."""
    assert parse_accuracy(text) == Accuracy(share=0.008, counts=5)


@pytest.mark.parametrize("text", ["", "5", "0.8%", "good", "0.8 + 5", "90% + 5", "1.2.3% + 5", "-1% + 5"])
def test_what_is_no_accuracy_is_refused(text: str) -> None:
    """The message shows a correct form."""
    with pytest.raises(QuantityError, match=r"writ.* 0\.8% \+ 5"):
        parse_accuracy(text)


@pytest.mark.parametrize(
    ("shown", "digit"),
    [(0.0, 1e-4), (0.39, 1e-4), (0.4001, 1e-3), (1.396, 1e-3), (-1.396, 1e-3), (4.0, 1e-3), (4.01, 1e-2), (24.0, 1e-2)],
)
def test_the_last_digit_follows_from_the_counts(shown: float, digit: float) -> None:
    """A display of 4000 counts shows 1.396 V to the millivolt and 24 V to ten."""
    assert METER.volts.digit(shown) == pytest.approx(digit)


def test_digits_and_bounds_take_arrays() -> None:
    """Arrays of predictions are weighed at once."""
    shown = np.array([0.1, 1.0, 10.0])
    assert METER.volts.digit_sd(shown).shape == (3,)
    assert METER.volts.gain_sd(shown) == pytest.approx(np.full(3, 0.008 / math.sqrt(3)))


def test_accuracy_may_differ_by_range() -> None:
    """The bound of a value is that of the first range that holds it; the last holds for all above."""
    volts = Volts.model_validate({"accuracy": {"40V": "0.5% + 2", "400mV": "1% + 8", "1000V": "2% + 5"}})
    assert volts.gain_sd([0.3, 0.5, 24.0, 100.0, 2000.0]) * math.sqrt(3) == pytest.approx(
        [0.01, 0.005, 0.005, 0.02, 0.02]
    )


def test_leads_add_to_small_resistances() -> None:
    """A tenth of an ohm is not told from two tenths: the leads press anew each time."""
    assert METER.ohms.digit_sd(0.1) > 0.2
    assert METER.ohms.digit_sd(1e5) == pytest.approx(2 * 100 / math.sqrt(3), rel=1e-3)


def test_every_default_number_has_a_unit_and_a_source() -> None:
    """No number of the meter is without a unit, a meaning and a source."""
    for name in Meter.model_fields:
        function = getattr(METER, name)
        if not isinstance(function, Function):
            continue
        known = function.values()
        assert set(known) == set(type(function).model_fields), name
        for value in known.values():
            assert value.meaning
            assert value.source.text


def test_the_test_voltage_of_ohms_stays_below_a_silicon_junction() -> None:
    """Half a volt at a microampere is where a small silicon junction begins (common practice)."""
    assert METER.ohms.open_volts < 0.5
    assert METER.continuity.open_volts < 0.5


@pytest.mark.parametrize(
    ("model", "given", "fragment"),
    [
        (Volts, {"input_ohms": "0R"}, "input_ohms is 0R, but it must be"),
        (Volts, {"input_ohms": "ten"}, "'ten' is not a value in Ω"),
        (Volts, {"counts": "7"}, "counts is 7"),
        (Volts, {"accuracy": {}}, "accuracy is empty"),
        (Volts, {"sensitivity": "1"}, "Extra inputs"),
        (Ohms, {"open_volts": "nan"}, "'nan' is not a value in V"),
        (type(METER.diode), {"most_volts": "3.2"}, "cannot show up to 3.2 V"),
        (type(METER.continuity), {"beeps_below": "1k"}, "OL above 400 Ω already"),
    ],
)
def test_a_meter_that_cannot_be_is_refused(model: type[BaseModel], given: dict[str, object], fragment: str) -> None:
    """Each refusal names the value."""
    with pytest.raises(ValidationError, match=fragment):
        model.model_validate(given)
