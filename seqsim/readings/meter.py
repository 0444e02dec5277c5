"""The meter as a described object: what each function puts on the board, and how far its display can be trusted."""

from __future__ import annotations

import math
import re
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel, ConfigDict, field_validator, model_validator

from seqsim.errors import QuantityError
from seqsim.parts.part import COMMON, JUDGED, Source, Standing, Value, value
from seqsim.quantity import Unit, parse_quantity

Floats = NDArray[np.float64]

UNIFORM = 1 / math.sqrt(3)
"""Standard deviation of what is uniform within ± a bound, as a share of the bound."""

VOLTS_ACCURACY = Source("accuracy of the dc voltage ranges in the manual of the YT-73081 meter", Standing.SEEN)
OHMS_ACCURACY = Source("resistance and diode ranges in the specification of the M-1000D meter", Standing.SEEN)
DIODE_TEST = Source("diode test of the PeakTech 1080 and P3690: about 1 mA, beeper below 50 Ω", Standing.SEEN)
INPUT = Source("common specification of hand-held meters, 10 MΩ on dc volts", Standing.MEMORY)


class Accuracy(BaseModel):
    """The bound ``±(share of the reading + counts of the last digit)``, valid up to the value ``up_to``."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    share: float
    counts: float
    up_to: float = math.inf

    @model_validator(mode="after")
    def _check(self) -> Self:
        if not (0 <= self.share <= 0.5 and 0 <= self.counts <= 1000 and self.up_to > 0):
            message = "an accuracy is a share up to 50 % and up to 1000 counts, like 0.8% + 5"
            raise ValueError(message)
        return self


_ACCURACY = re.compile(
    r"[±]?\s*\(?\s*([\d.]+)\s*%\s*(?:(?:rdg|of reading)\s*)?\+\s*([\d.]+)\s*(?:counts?|digits?|dgts?)?\s*\)?"
)


def parse_accuracy(text: str) -> Accuracy:
    """Return the accuracy written ``0.8% + 5`` (share of the reading plus counts of the last digit)."""
    match = _ACCURACY.fullmatch(text.strip())
    if match is None:
        message = f"'{text}' is not an accuracy; write it like 0.8% + 5, a share of the reading plus counts"
        raise QuantityError(message, got=text)
    try:
        return Accuracy(share=float(match[1]) / 100, counts=float(match[2]))
    except ValueError:
        message = f"'{text}' is not an accuracy: at most 50% + 1000, written like 0.8% + 5"
        raise QuantityError(message, got=text) from None


class Function(BaseModel):
    """One function of the meter: its display and its accuracy.

    The share of an accuracy is one unknown gain that all readings of the function have in common; the counts are
    drawn anew by each reading. Both are bounds, taken as uniform: the standard deviation is the bound by √3.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    counts: float = value(Unit.NUMBER, "largest number on the display", 4000.0, least=100, most=1e8)
    finest: float
    accuracy: tuple[Accuracy, ...]

    @classmethod
    def values(cls) -> dict[str, Value]:
        """Return what is known of each value of this function: unit, meaning, source."""
        return {
            name: field.json_schema_extra["value"]  # type: ignore[misc]
            for name, field in cls.model_fields.items()
            if isinstance(field.json_schema_extra, dict) and "value" in field.json_schema_extra
        }

    @field_validator("*", mode="before")
    @classmethod
    def _parse(cls, raw: Any, info: Any) -> Any:
        known = cls.values().get(info.field_name)
        if known is None or not isinstance(raw, str):
            return raw
        number = parse_quantity(raw, known.unit)
        if not known.least <= number <= known.most:
            message = f"{info.field_name} is {raw}, but it must be {known.least:g} to {known.most:g} {known.unit.value}"
            raise ValueError(message.rstrip())
        return number

    @field_validator("accuracy", mode="before")
    @classmethod
    def _parse_accuracy(cls, raw: Any) -> Any:
        if isinstance(raw, str):
            return (parse_accuracy(raw),)
        if isinstance(raw, dict):
            bounds = []
            for key, text in raw.items():
                bound = parse_accuracy(str(text))
                bounds.append(bound.model_copy(update={"up_to": parse_quantity(str(key), cls.unit())}))
            return tuple(sorted(bounds, key=lambda bound: bound.up_to))
        return raw

    @field_validator("accuracy", mode="after")
    @classmethod
    def _check_accuracy(cls, bounds: tuple[Accuracy, ...]) -> tuple[Accuracy, ...]:
        if not bounds:
            message = "accuracy is empty; write it like 0.8% + 5"
            raise ValueError(message)
        return bounds

    @classmethod
    def unit(cls) -> Unit:
        """Return the unit of the display."""
        return Unit.VOLT

    def digit(self, shown: ArrayLike) -> Floats:
        """Return the last digit of the display (function's unit) when it shows these values."""
        at = np.abs(np.asarray(shown, dtype=np.float64))
        exponent = np.ceil(np.log10(np.maximum(at, 1e-30) / self.counts) - 1e-9)
        return np.maximum(10.0**exponent, self.finest)

    def _bounds(self, shown: ArrayLike) -> tuple[Floats, Floats]:
        at = np.abs(np.asarray(shown, dtype=np.float64))
        limits = [bound.up_to for bound in self.accuracy]
        which = np.minimum(np.searchsorted(limits, at), len(limits) - 1)
        return (
            np.array([bound.share for bound in self.accuracy])[which],
            np.array([bound.counts for bound in self.accuracy])[which],
        )

    def bound(self, shown: ArrayLike) -> Floats:
        """Return the largest error (function's unit) that the accuracy allows where the display shows these values."""
        share, counts = self._bounds(shown)
        return np.asarray(share * np.abs(np.asarray(shown)) + counts * self.digit(shown))

    def gain_sd(self, shown: ArrayLike) -> Floats:
        """Standard deviation of the gain, as a share of the value; one gain for all readings of this function."""
        return np.asarray(self._bounds(shown)[0] * UNIFORM)

    def digit_sd(self, shown: ArrayLike) -> Floats:
        """Standard deviation (function's unit) of the part of the error that each reading draws anew."""
        return np.asarray(self._bounds(shown)[1] * self.digit(shown) * UNIFORM)


class Volts(Function):
    """Dc volts: the input resistance loads the node."""

    finest: float = value(Unit.VOLT, "last digit in the lowest range", 1e-4, source=COMMON, least=1e-12, most=10)
    input_ohms: float = value(Unit.OHM, "input resistance", 10e6, source=INPUT, least=1e3, most=1e13)
    most: float = value(Unit.VOLT, "highest voltage that is read", 1000.0, source=COMMON, least=1, most=1e5)
    accuracy: tuple[Accuracy, ...] = value(
        Unit.SHARE, "±(share + counts)", (Accuracy(share=0.008, counts=5),), source=VOLTS_ACCURACY
    )


class Tester(Function):
    """A function that sends its own current through the board: volts when open, behind a source resistance."""

    open_volts: float
    source_ohms: float


class Resistance(Tester):
    """What the resistance and continuity functions share: the leads add to what is between the tips."""

    most_ohms: float
    lead_ohms: float = value(
        Unit.OHM, "standard deviation of what leads and contacts add", 0.2, source=JUDGED, most=100
    )

    @classmethod
    def unit(cls) -> Unit:
        """Return the unit of the display."""
        return Unit.OHM

    def digit_sd(self, shown: ArrayLike) -> Floats:
        """Return the digits' part with that of leads and contacts, which press anew each time (Ω)."""
        return np.asarray(np.hypot(super().digit_sd(shown), self.lead_ohms))

    def shown_ohms(self, volts: ArrayLike) -> Floats:
        """Return R = Rs·V/(Voc − V): what takes V from Voc behind Rs; infinite from Voc on."""
        at = np.asarray(volts, dtype=np.float64)
        left = self.open_volts - at
        open_ = left <= 1e-12 * self.open_volts
        return np.where(open_, np.inf, self.source_ohms * at / np.where(open_, 1.0, left))

    def slope(self, volts: ArrayLike) -> Floats:
        """Return dR/dV = Rs·Voc/(Voc − V)² (Ω/V); infinite from Voc on."""
        left = self.open_volts - np.asarray(volts, dtype=np.float64)
        open_ = left <= 1e-12 * self.open_volts
        return np.where(open_, np.inf, self.source_ohms * self.open_volts / np.where(open_, 1.0, left) ** 2)

    def volts_at(self, shown: ArrayLike) -> Floats:
        """Return V = Voc·R/(R + Rs), the inverse of `shown_ohms`; Voc where R is infinite."""
        at = np.asarray(shown, dtype=np.float64)
        return np.asarray(self.open_volts / (1 + self.source_ohms / np.where(at == 0, 1.0, at)) * (at != 0))


class Ohms(Resistance):
    """Resistance: a Thevenin source whose voltage stays below what turns a silicon junction on.

    We assume the low test voltage that resistance ranges of hand-held meters have (below about 0.4 V, common
    practice). A meter that tests with more sees junctions in parallel: give its ``open_volts``.
    """

    finest: float = value(Unit.OHM, "last digit in the lowest range", 0.1, source=COMMON, least=1e-9, most=1e6)
    open_volts: float = value(Unit.VOLT, "voltage of the open tips", 0.4, source=COMMON, least=0.01, most=20)
    source_ohms: float = value(Unit.OHM, "source resistance of the test", 10e3, source=JUDGED, least=1, most=1e9)
    most_ohms: float = value(Unit.OHM, "above this the display shows OL", 40e6, source=COMMON, least=100, most=1e12)
    accuracy: tuple[Accuracy, ...] = value(
        Unit.SHARE, "±(share + counts)", (Accuracy(share=0.008, counts=2),), source=OHMS_ACCURACY
    )


class Continuity(Resistance):
    """The beeper: a resistance test with a threshold that differs from meter to meter (30 to 100 Ω)."""

    finest: float = value(Unit.OHM, "last digit", 0.1, source=COMMON, least=1e-9, most=1e6)
    open_volts: float = value(Unit.VOLT, "voltage of the open tips", 0.4, source=COMMON, least=0.01, most=20)
    source_ohms: float = value(Unit.OHM, "source resistance of the test", 400.0, source=JUDGED, least=1, most=1e9)
    beeps_below: float = value(Unit.OHM, "below this it beeps", 50.0, source=DIODE_TEST, least=0.1, most=1e5)
    beep_spread: float = value(
        Unit.SHARE, "standard deviation of the beep threshold, as a share", 0.3, most=1,
        source=Source("published thresholds run from 30 to 100 Ω", Standing.SEEN),
    )  # fmt: skip
    most_ohms: float = value(Unit.OHM, "above this the display shows OL", 400.0, source=COMMON, least=1, most=1e9)
    accuracy: tuple[Accuracy, ...] = value(
        Unit.SHARE, "±(share + counts)", (Accuracy(share=0.008, counts=2),), source=OHMS_ACCURACY
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.beeps_below > self.most_ohms:
            message = f"it beeps below {self.beeps_below:g} Ω but shows OL above {self.most_ohms:g} Ω already"
            raise ValueError(message)
        return self


class Diode(Tester):
    """Diode test: a current source with a compliance; what needs more voltage shows OL."""

    finest: float = value(Unit.VOLT, "last digit", 1e-3, source=COMMON, least=1e-9, most=10)
    test_amps: float = value(Unit.AMPERE, "test current", 1e-3, source=DIODE_TEST, least=1e-6, most=1)
    open_volts: float = value(Unit.VOLT, "voltage of the open tips", 3.0, source=OHMS_ACCURACY, least=0.1, most=50)
    source_ohms: float = value(Unit.OHM, "source resistance below the current limit", 10.0, source=JUDGED, least=0.1)
    most_volts: float = value(Unit.VOLT, "above this the display shows OL", 2.9, source=JUDGED, least=0.1, most=50)
    accuracy: tuple[Accuracy, ...] = value(
        Unit.SHARE, "±(share + counts)", (Accuracy(share=0.01, counts=3),), source=COMMON
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.most_volts > self.open_volts - self.test_amps * self.source_ohms:
            message = (
                f"the diode test has {self.open_volts:g} V when open, so it cannot show up to {self.most_volts:g} V"
            )
            raise ValueError(message)
        return self


class Current(Function):
    """The current that a supply delivers, on its own display or, where it is described so, on a meter in its line."""

    finest: float = value(
        Unit.AMPERE, "last digit of a bench supply's display", 1e-3, source=COMMON, least=1e-15, most=10
    )
    shunt_ohms: float = value(Unit.OHM, "resistance in the line", 1e-3, source=JUDGED, least=1e-6, most=1e3)
    most: float = value(Unit.AMPERE, "highest current that is read", 100.0, source=COMMON, least=1e-6, most=1e4)
    accuracy: tuple[Accuracy, ...] = value(
        Unit.SHARE, "±(share + counts)", (Accuracy(share=0.01, counts=5),), source=COMMON
    )

    @classmethod
    def unit(cls) -> Unit:
        """Return the unit of the display."""
        return Unit.AMPERE


class Meter(BaseModel):
    """A meter: one description for each function."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = "hand-held meter, 4000 counts"
    volts: Volts = Volts()
    ohms: Ohms = Ohms()
    diode: Diode = Diode()
    continuity: Continuity = Continuity()
    current: Current = Current()


METER = Meter()
"""The meter that is assumed where none is described."""
