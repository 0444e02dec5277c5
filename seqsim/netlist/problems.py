"""What is wrong with a netlist, and what of it was left out: always with its line, never silently."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from seqsim.circuit.names import one_line
from seqsim.errors import CircuitError

MOST_NAMED = 12


class NetlistErrors(CircuitError):  # noqa: N818 - it is a group of errors, as ExceptionGroup is
    """Lines of a netlist were not understood: its text is the first of them, ``errors`` lists them all."""

    def __init__(self, errors: Iterable[CircuitError]) -> None:
        self.errors = tuple(errors)
        first = self.errors[0]
        super().__init__(first.message, file=first.file, line=first.line, place=first.place, got=first.got)

    def __str__(self) -> str:
        lines = list(dict.fromkeys(str(error.line) for error in self.errors[1:] if error.line != self.line))
        if not lines:
            return super().__str__()
        named = ", ".join(lines[:MOST_NAMED]) + (" and others" if len(lines) > MOST_NAMED else "")
        return f"{super().__str__()} (also wrong: line{'s' if len(lines) > 1 else ''} {named})"


@dataclass(frozen=True, slots=True)
class Note:
    """Something of the netlist that the circuit file says otherwise, or leaves out."""

    line: int
    text: str


@dataclass(slots=True)
class Problems:
    """The errors and notes found so far, so that one pass over a netlist names them all."""

    file: str | None
    errors: list[CircuitError] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def error(self, line: int | None, message: str, *, got: str | None = None) -> None:
        """Note an error; its sentence says how to mend it."""
        self.errors.append(CircuitError(one_line(message), file=self.file, line=line, got=got))

    def note(self, line: int, text: str) -> None:
        """Note what is left out or read in one of several ways."""
        self.notes.append(Note(line, one_line(text)))

    def finish(self) -> None:
        """Raise what was noted, in the order of the lines."""
        if self.errors:
            raise NetlistErrors(sorted(self.errors, key=lambda error: error.line or 0))
