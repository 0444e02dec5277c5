"""A file of notes as lines that are added, taken back and saved."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field, replace
from pathlib import Path

from seqsim.circuit.draft import CircuitErrors, Draft
from seqsim.circuit.model import Circuit
from seqsim.circuit.notes_compile import compile_noted, read_facts
from seqsim.circuit.notes_joined import note
from seqsim.circuit.notes_line import parse_line
from seqsim.circuit.reader import NOTES_SUFFIX
from seqsim.circuit.source import read_bytes
from seqsim.errors import CircuitError

WAITS = ("no net of this board", "have no part yet", "which is no supply", "which is no part", "there is no part")
"""Words of errors that the lines to come may mend; a line that has one is taken."""
STARTER = "# Notes taken while tracing: one fact a line (`seqsim notes --help` shows how they are written).\n"


@dataclass(frozen=True)
class NotesFile:
    """Lines of notes, with those before each change; every call gives a new one, and `save` writes it."""

    path: Path
    lines: tuple[str, ...] = ()
    before: tuple[tuple[str, ...], ...] = field(default=(), repr=False)
    saved: tuple[str, ...] = ()

    @classmethod
    def open(cls, path: str | Path) -> NotesFile:
        """Return the notes of a file; none if there is no such file yet.

        Raises
        ------
        CircuitError
            If the file cannot be read.
        """
        file = Path(path)
        if not file.exists():
            if file.suffix.lower() != NOTES_SUFFIX:
                message = f"there is no file '{path}'; new notes end in {NOTES_SUFFIX}"
                raise CircuitError(message, file=str(path))
            return cls(file)
        lines = tuple(read_bytes(file).decode("utf-8-sig", errors="replace").splitlines())
        return cls(file, lines, (), lines)

    @property
    def changed(self) -> bool:
        """Tell whether something is not saved."""
        return self.lines != self.saved

    @property
    def errors(self) -> tuple[CircuitError, ...]:
        """What is wrong with the lines as they are."""
        draft = Draft(str(self.path))
        try:
            compile_noted(draft, note(draft, read_facts(draft, self.lines)))
        except CircuitErrors as found:
            return found.errors
        return ()

    def circuit(self) -> Circuit:
        """Return the circuit of the lines.

        Raises
        ------
        CircuitErrors
            If a line is not understood, or lines contradict each other.
        """
        draft = Draft(str(self.path))
        return compile_noted(draft, note(draft, read_facts(draft, self.lines)))

    def add(self, text: str) -> NotesFile:
        """Return the notes with one more line.

        Raises
        ------
        CircuitError
            If the line is not understood, or contradicts another: it is left out then.
        """
        line = " ".join(text.split())
        number = len(self.lines) + 1
        try:
            parse_line(line, number)
        except CircuitError as error:
            raise CircuitError(error.message, file=str(self.path), line=number, got=line) from None
        added = replace(self, lines=(*self.lines, line), before=(*self.before, self.lines))
        old = {(error.line, error.message) for error in self.errors}
        fresh = [error for error in added.errors if (error.line, error.message) not in old]
        about = [error for error in fresh if error.line == number and not any(w in error.message for w in WAITS)]
        if about:
            raise about[0]
        return added

    def drop(self, number: int) -> NotesFile:
        """Return the notes without one of their lines.

        Raises
        ------
        CircuitError
            If there is no such line.
        """
        if not 1 <= number <= len(self.lines):
            message = f"there is no line {number}; the notes have {len(self.lines)} lines"
            raise CircuitError(message, file=str(self.path))
        lines = (*self.lines[: number - 1], *self.lines[number:])
        return replace(self, lines=lines, before=(*self.before, self.lines))

    def undo(self) -> NotesFile:
        """Return the notes before the last change; without one, without their last line.

        Raises
        ------
        CircuitError
            If there is nothing to take back.
        """
        if self.before:
            return replace(self, lines=self.before[-1], before=self.before[:-1])
        facts = [k for k, line in enumerate(self.lines, start=1) if line.strip()]
        if not facts:
            raise CircuitError("there is nothing to take back; the notes are empty", file=str(self.path))
        return replace(self, lines=self.lines[: facts[-1] - 1])

    def save(self) -> NotesFile:
        """Write the lines to the file, whole or not at all, and return the notes as saved.

        Raises
        ------
        CircuitError
            If the file cannot be written.
        """
        lines = self.lines
        if not self.path.exists() and lines and not lines[0].startswith("#"):
            lines = (STARTER.rstrip("\n"), *lines)
        write_whole(self.path, "".join(f"{line}\n" for line in lines), "the notes")
        return replace(self, lines=lines, saved=lines)


def write_whole(path: Path, text: str, what: str) -> None:
    """Write a text to a file, whole or not at all.

    Raises
    ------
    CircuitError
        If it cannot be written.
    """
    whole = path.resolve()
    fresh = whole.with_name(whole.name + ".part")
    try:
        fresh.write_bytes(text.encode())
        if whole.exists():
            shutil.copymode(whole, fresh)
        fresh.replace(whole)
    except OSError as error:
        reason = error.strerror or str(error)
        message = f"{what} cannot be written ({reason}); check the folder and its rights"
        raise CircuitError(message, file=str(path)) from None
