"""What was seen over time while a board was powered up, and how well each fault explains it.

`EN rises then falls`, `V3V3 never high`, `EN stays high`, `PG pulsing`, `V5 3.2 at 80ms`, `EN low at 80ms`: times count
from the first power state on.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.circuit import Circuit, compile_network, resolve_place
from seqsim.errors import QuantityError, ReadingError
from seqsim.network import Network, Patch
from seqsim.quantity import Unit, format_quantity, parse_quantity
from seqsim.sequence.rails import HIGH
from seqsim.sequence.timetable import LONGEST, Timetable, timetable
from seqsim.sequence.trace import Trace
from seqsim.solver.course import Course
from seqsim.solver.transient import simulate

RIGHT = 0.99
"""Chance that what was seen is what the board did: a slip is as likely as with readings at rest (our judgement)."""
EARLY = 0.03
SOON = 1e-3
"""A time that was told is right to this share and so many seconds (our judgement)."""
READ_SHARE, READ_VOLTS = 0.05, 0.05
"""Standard deviation of volts told at a time: those of parts, meter and model together (our judgement)."""
PULSES = 3
LOW = 0.3
"""Share of the largest volts of the healthy board up to which a signal counts as low."""
FORMS = "EN rises then falls, V3V3 never high, EN stays high, PG pulsing, V5 3.2 at 80ms or EN low at 80ms"
BEHAVIOURS = {
    "rises then falls": "rises then falls",
    "never high": "never high",
    "never rises": "never high",
    "stays high": "stays high",
    "pulsing": "pulsing",
    "pulses": "pulsing",
}
_AT = re.compile(r"(?P<what>\S+) at (?P<time>.+)")


@dataclass(frozen=True, slots=True)
class Seen:
    """What a place did: a behaviour over the whole power-up, or volts, ``high`` or ``low`` at a time (s)."""

    place: str
    what: str | float
    seconds: float | None = None

    def chance(self, course: Course, until: float, largest: float) -> float:
        """Return the chance of having seen this on a board that does what the course says.

        Parameters
        ----------
        course
            The power-up.
        until
            Its end (s).
        largest
            Largest volts of the place on the healthy board.
        """
        trace = Trace(course.times, course.at(self.place)).until(until)
        if self.seconds is None:
            return RIGHT if self._behaves(trace, HIGH * largest) else 1 - RIGHT
        span = max(EARLY * self.seconds, SOON)
        start, end = max(self.seconds - span, 0.0), min(self.seconds + span, until)
        inside = trace.volts[(trace.times > start) & (trace.times < end)]
        ends = np.interp([start, end], trace.times, trace.volts)
        least, most = float(min(*ends, *inside)), float(max(*ends, *inside))
        if self.what == "high":
            return RIGHT if most >= HIGH * largest else 1 - RIGHT
        if self.what == "low":
            return RIGHT if least <= LOW * largest else 1 - RIGHT
        volts = float(self.what)
        off = max(least - volts, volts - most, 0.0) / math.hypot(READ_VOLTS, READ_SHARE * volts)
        return (1 - RIGHT) + (2 * RIGHT - 1) * math.exp(-(off**2) / 2)

    def _behaves(self, trace: Trace, level: float) -> bool:
        spans = trace.within(level, math.inf)
        ends_high = bool(spans) and spans[-1][1] >= float(trace.times[-1])
        match self.what:
            case "never high":
                return not spans
            case "stays high":
                return ends_high
            case "pulsing":
                return len(spans) >= PULSES
            case _:
                return bool(spans) and not ends_high


def parse_seen(circuit: Circuit, text: str) -> Seen:
    """Return what a line says was seen.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If it is not understood; the message shows a correct form.
    """
    place, _, rest = " ".join(text.split()).partition(" ")
    words = rest.casefold().removeprefix("is ")
    if words in BEHAVIOURS:
        return Seen(resolve_place(circuit, place).points[0], BEHAVIOURS[words])
    found = _AT.fullmatch(rest)
    if found is None:
        raise ReadingError(f"'{text}' is nothing that can be seen over time; write it like {FORMS}", got=text)
    try:
        seconds = parse_quantity(found["time"], Unit.SECOND)
        word = found["what"].casefold()
        what: str | float = word if word in ("high", "low") else parse_quantity(found["what"], Unit.VOLT)
    except QuantityError as error:
        raise ReadingError(f"'{text}': {error.message}", got=text) from None
    if not 0 <= seconds <= LONGEST:
        longest = format_quantity(LONGEST, Unit.SECOND, 4)
        message = f"'{text}' lies outside of what is run; times count from the first power state, up to {longest}"
        raise ReadingError(message, got=text)
    return Seen(resolve_place(circuit, place).points[0], what, seconds)


@dataclass(frozen=True)
class Witness:
    """Everything that was seen, and the healthy power-up beside which it counts."""

    circuit: Circuit
    seen: tuple[Seen, ...]
    network: Network
    table: Timetable
    largest: tuple[float, ...]
    healthy: float
    """chance of all of it on the healthy board"""

    @classmethod
    def of(cls, circuit: Circuit, seen: Iterable[Seen]) -> Witness:
        """Return the witness of what was seen on a circuit; the run is long enough for every time told."""
        listed = tuple(seen)
        network = compile_network(circuit)
        usual = timetable(circuit, network).until
        latest = max([each.seconds or 0.0 for each in listed], default=0.0) * (1 + EARLY) + SOON
        table = timetable(circuit, network, max(usual, latest))
        healthy = simulate(network, (), table.stages, table.end, table.before)
        inside = healthy.times <= table.until
        largest = tuple(max(float(healthy.at(each.place)[inside].max()), 0.1) for each in listed)
        chances = [each.chance(healthy, table.until, v) for each, v in zip(listed, largest, strict=True)]
        return cls(circuit, listed, network, table, largest, math.prod(chances))

    def under(self, patches: Sequence[Patch]) -> float:
        """Return the chance of all that was seen on a board with these patches."""
        course = simulate(self.network, patches, self.table.stages, self.table.end, self.table.before)
        each = [s.chance(course, self.table.until, v) for s, v in zip(self.seen, self.largest, strict=True)]
        return math.prod(each)


def parse_all(circuit: Circuit, texts: Sequence[str]) -> tuple[Seen, ...]:
    """Return what several lines say was seen."""
    return tuple(parse_seen(circuit, text) for text in texts)
