"""Notes as they stand: lines, parts, nets, what is believed of the doubts, and what to trace next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seqsim.circuit import Circuit
from seqsim.circuit.circuit_file import CircuitFile
from seqsim.circuit.notes_file import NotesFile
from seqsim.diagnosis.alternatives import doubts_of
from seqsim.diagnosis.contacts import unexpected_contacts
from seqsim.diagnosis.tracing import Step
from seqsim.diagnosis.unsure import Believed, believe
from seqsim.errors import CircuitError, SeqsimError
from seqsim.parts.supply import ENTRY
from seqsim.readings import Readings, split_shorthand
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType


@dataclass(frozen=True, slots=True)
class NotesView(Result):
    """What `notes` shows; ``content`` is None where the lines make no circuit as yet.

    A circuit file has no ``lines``; ``changes`` says what was put into it, in words.
    """

    notes: str
    lines: tuple[str, ...]
    errors: tuple[CircuitError, ...]
    content: Circuit | None
    unknowns: tuple[Believed, ...] = ()
    trace: tuple[Step, ...] = ()
    weighed: int = 0
    assumed: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``notes``."""
        content = self.content
        nets = {} if content is None else content.nets()
        return {
            "schema": SCHEMA,
            "notes": self.notes,
            "lines": [{"line": number, "text": text} for number, text in enumerate(self.lines, start=1)],
            "changes": list(self.changes),
            "errors": [{"line": error.line, "place": error.place, "message": error.message} for error in self.errors],
            "target": None if content is None else content.target,
            "parts": {} if content is None else {name: part.kind for name, part in content.parts.items()},
            "nets": {net: [pin.removesuffix(ENTRY) for pin in pins] for net, pins in nets.items()},
            "assumed": list(self.assumed),
            "unknowns": [each.to_dict() for each in self.unknowns],
            "trace": [each.to_dict() for each in self.trace],
            "drawings": {"weighed": self.weighed},
        }

    def renderable(self) -> RenderableType:
        """Return the notes for people."""
        from seqsim.wording.notes import notes_text

        return notes_text(self.to_dict())


def notes_view(file: NotesFile, read: Sequence[str] = ()) -> NotesView:
    """Return notes as they stand; ``read`` are readings in shorthand beside those that the notes hold.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If one of ``read`` is not understood.
    """
    name, errors = str(file.path), file.errors
    if errors:
        return NotesView(name, file.lines, errors, None)
    circuit = file.circuit()
    taken = Readings()
    wrong: list[CircuitError] = []
    for line, text in circuit.noted:
        try:
            taken = taken.with_more(circuit, [split_shorthand(text, file=name, line=line)])
        except SeqsimError as error:
            wrong.append(CircuitError(error.message, file=name, line=line, place=error.place))
    taken = taken.with_more(circuit, [split_shorthand(text) for text in read])
    assumed = (*circuit.assumed, *unexpected_contacts(circuit, taken))
    told, trace, weighed = believe(circuit, taken) if circuit.doubts else ((), (), 0)
    return NotesView(name, file.lines, tuple(wrong), circuit, told, trace, weighed, assumed)


def circuit_file_view(file: CircuitFile, read: Sequence[str] = ()) -> NotesView:
    """Return a circuit file as it stands: what was changed in it, and what is not known of its values.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If one of ``read`` is not understood.
    """
    circuit = file.circuit()
    taken = Readings().with_more(circuit, [split_shorthand(text) for text in read])
    told, trace, weighed = believe(circuit, taken) if doubts_of(circuit) else ((), (), 0)
    return NotesView(str(file.path), (), (), circuit, told, trace, weighed, changes=file.changes)
