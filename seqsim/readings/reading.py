"""A reading: what was measured where, in which power state, with what done to the board, and the value."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, SerializeAsAny

from seqsim.readings.interventions import Intervention


class Probe(BaseModel):
    """A reading that could be taken: all of it but the value.

    ``place`` takes the red lead, ``to`` the black one; without ``to`` the black lead is on the first ground. The
    place of a `current` reading is a supply, that of a `hot` reading a part; a piece of copper stands for its two
    touch points.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: str
    place: str
    to: str | None = None
    state: str
    interventions: tuple[SerializeAsAny[Intervention], ...] = ()


class Reading(Probe):
    """A reading that was taken.

    ``value`` is in the SI unit of the kind, a pair (low, high), or a word. ``resolution`` is the last digit that was
    written; ``about`` widens the value by a tenth. With ``of_good`` it is a ratio to what a known-good board shows.
    ``text``, ``file`` and ``line`` say where it was written.
    """

    value: float | tuple[float, float] | str
    about: bool = False
    of_good: bool = False
    resolution: float | None = None
    note: str = ""
    text: str = ""
    file: str | None = None
    line: int | None = None

    def probe(self) -> Probe:
        """Return the same reading without its value."""
        return Probe(kind=self.kind, place=self.place, to=self.to, state=self.state, interventions=self.interventions)
