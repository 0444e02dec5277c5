"""`seqsim check`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seqsim.cli.answer import BAD_INPUT, DONE, FOUND, Answer, JsonOption
from seqsim.errors import SeqsimError


def check(
    board: Annotated[
        str | None,
        typer.Argument(metavar="BOARD", help="A circuit file, or the name of a circuit that `seqsim list` shows."),
    ] = None,
    new: Annotated[
        Path | None, typer.Option("--new", metavar="FILE", help="Write a commented circuit file to start from.")
    ] = None,
    json: JsonOption = False,
) -> Answer:
    """Say what is wrong with a circuit file, and what is legal but suspicious.

    Every error is told with its line, and how to mend it (exit code 2); if there is none, every warning (exit code 1).
    """
    if new is not None:
        if board is not None:
            raise SeqsimError(f"`check --new {new}` writes a new file and checks none; leave out '{board}'")
        from seqsim.circuit import write_starter

        write_starter(new)
        return Answer(f"{new}: written; describe your board in it, then run: seqsim check {new}")
    if board is None:
        raise SeqsimError("`check` needs a circuit file or the name of a library circuit, or `--new FILE`")
    from seqsim.results import check_file

    result = check_file(board)
    errors = () if json else tuple(str(error) for error in result.errors)
    return Answer(result, json, BAD_INPUT if result.errors else FOUND if result.warnings else DONE, errors)
