"""A circuit file to which facts are added, line by line as in notes; all that stands in it stays as it was written."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from seqsim.circuit.edits import edited
from seqsim.circuit.model import Circuit
from seqsim.circuit.notes_file import write_whole
from seqsim.circuit.notes_line import parse_line
from seqsim.circuit.reader import parse_circuit
from seqsim.circuit.source import decode, read_bytes
from seqsim.errors import CircuitError

BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True)
class CircuitFile:
    """The text of a circuit file, and what was changed in it since it was read; `save` writes it."""

    path: Path
    text: str
    changes: tuple[str, ...] = ()
    marked: bool = False
    """whether the file begins with a byte order mark"""

    @classmethod
    def open(cls, path: str | Path) -> CircuitFile:
        """Return a file that describes a circuit.

        Raises
        ------
        CircuitErrors, CircuitError
            If it cannot be read, or describes none.
        """
        content = read_bytes(Path(path))
        text = decode(content, str(path))
        found = cls(Path(path), text, marked=content.startswith(BYTE_ORDER_MARK.encode()))
        found.circuit()
        return found

    def circuit(self) -> Circuit:
        """Return the circuit of the text.

        Raises
        ------
        CircuitErrors
            If a change has made it none.
        """
        return parse_circuit(self.text, str(self.path))

    def add(self, line: str) -> CircuitFile:
        """Return the file with a fact more.

        Raises
        ------
        CircuitError
            If the line is not understood, is no fact for a circuit file, or contradicts what stands there; nothing is
            changed then.
        """
        text, changes = self.text, self.changes
        try:
            for fact in parse_line(line):
                text, told = edited(text, parse_circuit(text, str(self.path)), fact)
                changes += (told,) if told else ()
            parse_circuit(text, str(self.path))
        except CircuitError as error:
            message = f"'{line}' is left out: {error.message}"
            raise CircuitError(message, file=str(self.path), place=error.place, got=line) from None
        return replace(self, text=text, changes=changes)

    def save(self) -> CircuitFile:
        """Write the text to the file, whole or not at all.

        Raises
        ------
        CircuitError
            If the file cannot be written.
        """
        write_whole(self.path, BYTE_ORDER_MARK * self.marked + self.text, "the file")
        return self
