"""The errors of seqsim: each says in one sentence what is wrong, where, and how to mend it."""

from __future__ import annotations


class SeqsimError(Exception):
    """Root of all errors that seqsim raises on purpose; its text is one sentence for the user.

    ``file``, ``line`` and ``place`` say where, ``expected`` and ``got`` what; each is None where it has no meaning.
    """

    def __init__(
        self,
        message: str,
        *,
        file: str | None = None,
        line: int | None = None,
        place: str | None = None,
        expected: str | None = None,
        got: str | None = None,
    ) -> None:
        self.message = message
        self.file = file
        self.line = line
        self.place = place
        self.expected = expected
        self.got = got
        super().__init__(message)

    def __str__(self) -> str:
        where = ":".join(str(item) for item in (self.file, self.line) if item is not None)
        return f"{where}: {self.message}" if where else self.message


class CircuitError(SeqsimError, ValueError):
    """A circuit file does not describe a circuit."""


class QuantityError(SeqsimError, ValueError):
    """A text is no quantity of the unit that is wanted."""


class UnknownPlaceError(SeqsimError, LookupError):
    """A net, pin, part, copper, state or fault is named that the circuit does not have."""


class ReadingError(SeqsimError, ValueError):
    """A reading cannot be understood or cannot be taken."""


class NoSteadyLevelError(SeqsimError, ArithmeticError):
    """A board has no steady level where one was asked for."""


class SpiceMissingError(SeqsimError, ImportError):
    """The SPICE engine or its Python package is not installed."""


class SpiceFailedError(SeqsimError, RuntimeError):
    """The SPICE engine gave no result."""
