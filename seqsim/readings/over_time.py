"""Readings over time: what a place did while the board was powered up.

`EN rises then falls`, `V3V3 never high`, `EN stays high`, `PG pulses`, `V5 3.2 at 80ms`, `EN low at 80ms @running`.
Times count from the power state that is named, or from the first one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from seqsim.circuit import OFF, Circuit
from seqsim.circuit.names import suggest
from seqsim.errors import QuantityError, ReadingError, UnknownPlaceError
from seqsim.quantity import Unit, format_quantity, parse_quantity
from seqsim.readings.places import match, tip
from seqsim.readings.shorthand import Fields, in_reading

KIND = "over time"
LONGEST = 3600.0
"""Longest time (s) over which a power-up is followed."""
FORMS = "EN rises then falls, V3V3 never high, EN stays high, PG pulses, V5 3.2 at 80ms or EN low at 80ms"
BEHAVIOURS = {
    "rises then falls": "rises then falls",
    "never high": "never high",
    "never rises": "never high",
    "stays high": "stays high",
    "pulses": "pulses",
}
LEVELS = ("high", "low")
_AT = re.compile(r"(?P<what>.*?)\s*\bat\s+(?P<time>.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Seen:
    """What a place did: a behaviour, or volts, ``high`` or ``low`` at a time (s).

    It counts from the beginning of ``state``, of the first power state without one. ``text``, ``file`` and ``line``
    say where it was written.
    """

    place: str
    what: str | float
    seconds: float | None = None
    state: str | None = None
    text: str = field(default="", compare=False)
    file: str | None = field(default=None, compare=False)
    line: int | None = field(default=None, compare=False)

    def __str__(self) -> str:
        """Return what was seen, without the place."""
        what = self.what if isinstance(self.what, str) else format_quantity(self.what, Unit.VOLT, 4)
        return what if self.seconds is None else f"{what} at {format_quantity(self.seconds, Unit.SECOND, 4)}"


def is_over_time(fields: Fields) -> bool:
    """Tell whether a reading says what happened over time, and not what a meter showed at rest."""
    return _behaviour(fields) in BEHAVIOURS or _AT.fullmatch(fields.value) is not None or fields.kind == KIND


def build_seen(circuit: Circuit, fields: Fields) -> Seen:
    """Return what was seen over time.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If it is not understood; the message shows a correct form.
    """
    try:
        return _build(circuit, fields)
    except (ReadingError, UnknownPlaceError, QuantityError) as error:
        kind = UnknownPlaceError if isinstance(error, UnknownPlaceError) else ReadingError
        message = in_reading(error.message, fields)
        raise kind(message, file=fields.file, line=fields.line, got=fields.text) from None


def _behaviour(fields: Fields) -> str:
    return " ".join(fields.value.casefold().split()).removeprefix("is ")


def _build(circuit: Circuit, fields: Fields) -> Seen:
    if fields.to or fields.interventions:
        raise ReadingError(f"what is seen over time is told of one place and an untouched board; write it like {FORMS}")
    place, state = tip(circuit, fields.place), _state(circuit, fields.state)
    what, seconds = _what(fields)
    return Seen(place, what, seconds, state, fields.text, fields.file, fields.line)


def _what(fields: Fields) -> tuple[str | float, float | None]:
    """Return a behaviour; or volts or a level, and when."""
    words = _behaviour(fields)
    if words in BEHAVIOURS:
        return BEHAVIOURS[words], None
    found = _AT.fullmatch(fields.value)
    if found is None or not found["what"]:
        raise ReadingError(f"'{fields.value}' is nothing that can be seen over time; write it like {FORMS}")
    seconds = parse_quantity(found["time"], Unit.SECOND)
    if not 0 <= seconds <= LONGEST:
        longest = format_quantity(LONGEST, Unit.SECOND, 4)
        raise ReadingError(f"{found['time']} lies outside of what is run: a power-up is followed for up to {longest}")
    level = found["what"].casefold()
    return level if level in LEVELS else parse_quantity(found["what"], Unit.VOLT), seconds


def _state(circuit: Circuit, text: str) -> str | None:
    if not text:
        return None
    states = [name for name in circuit.power_states if name != OFF]
    state = match(text, states)
    if state is None:
        what = f"there is no power state '{text}' to count the time from"
        raise UnknownPlaceError(f"{what}{suggest(text, states)}", place=text)
    return state
