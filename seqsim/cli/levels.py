"""`seqsim levels`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, JsonOption


def levels(
    board: BoardArgument,
    state: Annotated[
        str | None, typer.Option("--state", "-s", metavar="STATE", help="Power state; the last one if not given.")
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            "--fault", "-f", metavar="PLACE:MODE", help="A fault that the board has; can be given repeatedly."
        ),
    ] = None,
    json: JsonOption = False,
) -> Answer:
    """Show the steady voltage of every net, on the healthy board or with faults."""
    from seqsim.board import Board

    return Answer(Board.load(board).levels(state, fault or ()), json)
