"""What a power-up in time is asked with, and what comes back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from seqsim.network import Variant
from seqsim.network.network import Bools, Floats
from seqsim.solver.state import State


@dataclass(frozen=True, slots=True)
class Stage:
    """A power state in time: from ``seconds`` on the static gates (g,) stand like this.

    ``ramps`` gives for a static gate that turns on here the knob (owner, name) that rises from zero to where it
    stands, and in how many seconds.
    """

    name: str
    seconds: float
    static: Bools
    ramps: Mapping[str, tuple[str, str, float]] = field(default_factory=dict)


class What(Enum):
    """What happened."""

    STAGE = "power state"
    GATE = "gate"
    ROW = "row"
    RAMPED = "ramped"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened: a power state began, a gate turned on or off, a rule row changed its side.

    ``name`` is that of the state or the gate, or the row as ``OWNER/row``; ``on`` tells on, or above.
    """

    seconds: float
    what: What
    name: str
    on: bool = True


@dataclass(frozen=True)
class Course:
    """A power-up in time.

    ``times`` (k,) and ``volts`` (k, n + 1) are its points, ground last; several points may share a time, where
    something jumps. ``ends`` holds how the board stood at the end of each stage, with its gates; ``chatter`` the
    owners of rules that switched faster than a run can follow and were slowed down. ``bound`` says what ended the
    run early, and is empty if nothing did.
    """

    variant: Variant
    times: Floats
    volts: Floats
    events: tuple[Event, ...]
    ends: tuple[tuple[str, State, Bools], ...]
    chatter: tuple[str, ...] = ()
    bound: str = ""
    steps: int = 0

    def at(self, place: str) -> Floats:
        """Volts (k,) of a net, pin, pad or cut-off piece over the points.

        Raises
        ------
        UnknownPlaceError
            If there is no such place.
        """
        return self.volts[:, self.variant.node(place)]

    @property
    def gates(self) -> Bools:
        """Gates (g,) at the end."""
        return self.ends[-1][2] if self.ends else np.zeros(0, dtype=np.bool_)

    def mean(self, place: str, since: float, until: float | None = None) -> float:
        """Volts of a place on the average from ``since`` to ``until`` (s), as a slow meter shows them."""
        last = float(self.times[-1]) if until is None else until
        return self._mean(self.at(place), since, last)

    def means(self, since: float) -> Floats:
        """Volts (n + 1,) of every node on the average from ``since`` (s) to the end."""
        return np.array([self._mean(volts, since, float(self.times[-1])) for volts in self.volts.T])

    def _mean(self, volts: Floats, since: float, last: float) -> float:
        inside = (self.times > since) & (self.times < last)
        grid = np.concatenate([[since], self.times[inside], [last]])
        if last <= since:
            return float(np.interp(last, self.times, volts))
        values = np.concatenate(
            [[np.interp(since, self.times, volts)], volts[inside], [np.interp(last, self.times, volts)]]
        )
        return float(np.trapezoid(values, grid) / (last - since))
