"""All single faults of a board, before any reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seqsim.faults import Fault
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType


@dataclass(frozen=True, slots=True)
class FaultList(Result):
    """The faults of the circuit called ``circuit``."""

    circuit: str
    faults: tuple[Fault, ...]
    history: tuple[tuple[str, str, tuple[str, ...], float], ...] = ()
    """what was said of the board's past, the kind, place or fault that it tilts, where, and the factor"""

    def to_dict(self) -> dict[str, Any]:
        """Return the fields of ``faults``; other names of the same electrical event stand in ``also``."""
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "faults": [
                {
                    "fault": fault.name,
                    "prior": fault.prior,
                    "source": fault.source.text,
                    "standing": fault.source.standing.value,
                    "also": list(fault.also),
                }
                for fault in self.faults
            ],
            "history": [
                {"said": said, "key": key, "places": list(places), "factor": factor}
                for said, key, places, factor in self.history
            ],
        }

    def renderable(self) -> RenderableType:
        """Return the list for people, the likeliest first."""
        from seqsim.wording.faults import faults_text

        return faults_text(self.to_dict())
