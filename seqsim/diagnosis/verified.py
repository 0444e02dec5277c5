"""What `verify` returns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seqsim.diagnosis.likeliest import Taken
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType

Value = float | tuple[float, float] | str


@dataclass(frozen=True, slots=True)
class Line:
    """A reading beside what is right there, in the unit of the reading or as words.

    ``verdict`` is ``as_healthy``, ``low``, ``high`` or, for a word that does not fit, ``off``. ``rail`` tells that it
    is a rail in the last power state.
    """

    place: str
    to: str | None
    kind: str
    state: str
    value: Value
    unit: str
    low: float | str
    high: float | str
    verdict: str
    rail: bool

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "to": self.to, "kind": self.kind, "state": self.state,
            "value": list(self.value) if isinstance(self.value, tuple) else self.value, "unit": self.unit,
            "low": self.low, "high": self.high, "verdict": self.verdict, "rail": self.rail,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Required:
    """A reading that is still to be taken, what it should show, and how it is written down."""

    place: str
    to: str | None
    kind: str
    state: str
    low: float | str
    high: float | str
    unit: str
    why: str
    write: str
    caution: str

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields."""
        return {
            "place": self.place, "to": self.to, "kind": self.kind, "state": self.state, "low": self.low,
            "high": self.high, "unit": self.unit, "why": self.why, "write": self.write, "caution": self.caution,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Verification(Result):
    """A repaired board, judged.

    ``verdict`` is ``proved`` (all that has to be read is right), ``off`` (something read is not) or ``incomplete``.
    ``taken`` is what the drawing was taken to be where notes leave it open.
    """

    circuit: str
    repaired: tuple[str, ...]
    verdict: str
    readings: tuple[Line, ...]
    missing: tuple[Required, ...]
    cautions: tuple[str, ...]
    taken: tuple[Taken, ...] = ()

    @property
    def good(self) -> bool:
        """Tell whether the board is proved to be as it should be."""
        return self.verdict == "proved"

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``verify``."""
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "repaired": list(self.repaired),
            "verdict": self.verdict,
            "readings": [each.to_dict() for each in self.readings],
            "missing": [each.to_dict() for each in self.missing],
            "cautions": list(self.cautions),
            "taken": [each.to_dict() for each in self.taken],
        }

    def renderable(self) -> RenderableType:
        """Return the verification for people."""
        from seqsim.wording.verify import verification_text

        return verification_text(self.to_dict())
