"""What a command returns: a result, how it is wanted, and the exit code; printed in one place."""

from __future__ import annotations

import logging
import os
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from seqsim.wording import Result

DONE = 0
FOUND = 1
"""A check or a verification found something."""
BAD_INPUT = 2

BoardArgument = Annotated[
    str,
    typer.Argument(
        metavar="BOARD", help="A circuit file, a file of notes, or the name of a circuit that `seqsim list` shows."
    ),
]
FaultOption = Annotated[
    list[str] | None,
    typer.Option("--fault", "-f", metavar="PLACE:MODE", help="A fault that the board has; can be given repeatedly."),
]
ReadingsArgument = Annotated[str | None, typer.Argument(metavar="READINGS", help="A file of readings, YAML or CSV.")]
ReadOption = Annotated[
    list[str] | None,
    typer.Option(
        "--read",
        "-r",
        metavar="READING",
        help="A reading in shorthand, like 'EN 0.02', 'R9.1 to R9.2 18mV @running', 'EN 0.4x of good' or 'EN rises "
        "then falls'; can be given repeatedly.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the documented fields as JSON, for programs.")]

HistoryOption = Annotated[
    list[str] | None,
    typer.Option(
        "--history",
        metavar="TEXT",
        help="What the board went through, like 'liquid at J1', impact, heat, 'rework at Q1' or 'first assembly', or a "
        "factor of your own on a kind, place or fault, like 'leak x3'; can be given repeatedly.",
    ),
]
PastOption = Annotated[
    str | None,
    typer.Option("--past", metavar="FILE", help="A file that counts what was found on such boards before."),
]

PIPE_WIDTH = 120
"""Columns of what is piped or written to a file, unless COLUMNS says otherwise."""


@dataclass(frozen=True)
class Answer:
    """The outcome of a command."""

    result: Result | str
    as_json: bool = False
    code: int = DONE
    complaints: tuple[str, ...] = ()
    """sentences for standard error, one a line"""


def deliver(answer: Answer) -> int:
    """Print an answer and return the exit code; a reader that hangs up early is no error."""
    try:
        for sentence in answer.complaints:
            complain(sentence)
        _print(answer)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return answer.code


def say(text: str) -> None:
    """Print a line at once: an answer within a conversation."""
    print(text, flush=True)


def complain(sentence: str) -> None:
    """Print one sentence on standard error."""
    print(f"seqsim: {' '.join(sentence.split())}", file=sys.stderr)


class _Sentences(logging.Handler):
    """What seqsim says while it works, on standard error."""

    def emit(self, record: logging.LogRecord) -> None:
        complain(record.getMessage())


def be_heard() -> None:
    """Print what seqsim logs while it works: that something is compiled first, say."""
    log = logging.getLogger("seqsim")
    log.setLevel(logging.INFO)
    log.propagate = False
    log.handlers = [_Sentences()]


def be_printable() -> None:
    """Make output streams replace characters that their encoding lacks, rather than fail on the first Ω."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _print(answer: Answer) -> None:
    if isinstance(answer.result, str):
        print(answer.result)
    elif answer.as_json:
        from seqsim.wording.result import to_json

        encoding = (sys.stdout.encoding or "").lower().replace("-", "")
        print(to_json(answer.result.to_dict(), ascii_only=not encoding.startswith("utf")))
    elif sys.stdout.isatty():
        _console().print(answer.result.renderable())
    else:
        from seqsim.wording.result import to_text

        print(to_text(answer.result.renderable(), width=_columns()))


def _console() -> Console:
    from rich.console import Console

    return Console(markup=False, emoji=False, highlight=False)


def _columns() -> int:
    given = os.environ.get("COLUMNS", "")
    return max(int(given), 40) if given.isdecimal() else PIPE_WIDTH
