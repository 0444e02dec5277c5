"""What `next` returns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seqsim.diagnosis.likeliest import Taken
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType


@dataclass(frozen=True, slots=True)
class Outcome:
    """A range of what may be read, in the unit of the reading or as words, and what it would point to.

    ``as_healthy`` tells that a healthy board reads so too; ``points_to`` is empty where too many remain to be named.
    """

    low: float | str
    high: float | str
    probability: float
    as_healthy: bool
    points_to: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "low": self.low, "high": self.high, "probability": self.probability, "as_healthy": self.as_healthy,
            "points_to": list(self.points_to),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """A reading that is advised.

    ``bits`` is what it tells on average about where the fault is, ``seconds`` the time that it takes from where the
    board stands now. ``at`` is a pin where its net can be touched, ``write`` how its likeliest outcome is written.
    ``again`` tells why a reading that was taken is to be taken once more: ``bears_alone`` (the answer hangs on it),
    ``doubtful`` (a slip is likely) or ``contradicted`` (taken twice, it differed); it is empty for all others.
    """

    place: str
    to: str | None
    kind: str
    state: str
    done: tuple[str, ...]
    bits: float
    seconds: float
    caution: str
    unit: str
    outcomes: tuple[Outcome, ...]
    at: str
    note: str
    write: str
    again: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "to": self.to, "kind": self.kind, "state": self.state, "with": list(self.done),
            "bits": self.bits, "seconds": self.seconds, "caution": self.caution, "unit": self.unit,
            "outcomes": [each.to_dict() for each in self.outcomes], "at": self.at, "note": self.note,
            "write": self.write, "again": self.again,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Advice(Result):
    """The readings to take next.

    ``stop`` is empty while readings help; else ``found`` (one group holds the fault), ``look_alikes`` (the same, and
    no reading on offer tells its members apart) or ``nothing_helps``. ``leading`` are the likeliest groups with their
    members and probabilities, ``first`` the supply nets to be measured before power goes on, ``supplies`` those whose
    volts come first once it is on, ``limit`` the supplies to limit first. ``taken`` is what the drawing was taken to be
    where notes leave it open.
    """

    circuit: str
    readings: int
    state: str
    stop: str
    leading: tuple[tuple[str, tuple[str, ...], float], ...]
    none_of_these: float
    confirm: str
    first: tuple[str, ...]
    supplies: tuple[str, ...]
    limit: tuple[str, ...]
    next: tuple[Step, ...]
    cautions: tuple[str, ...]
    taken: tuple[Taken, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``next``."""
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "readings": self.readings,
            "state": self.state,
            "stop": self.stop,
            "leading": [
                {"group": name, "members": list(members), "probability": p} for name, members, p in self.leading
            ],
            "none_of_these": self.none_of_these,
            "confirm": self.confirm,
            "first": list(self.first),
            "supplies": list(self.supplies),
            "limit": list(self.limit),
            "next": [each.to_dict() for each in self.next],
            "cautions": list(self.cautions),
            "taken": [each.to_dict() for each in self.taken],
        }

    def renderable(self) -> RenderableType:
        """Return the advice for people."""
        from seqsim.wording.next_reading import advice_text

        return advice_text(self.to_dict())
