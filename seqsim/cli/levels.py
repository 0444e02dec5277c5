"""`seqsim levels`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, FaultOption, JsonOption


def levels(
    board: BoardArgument,
    state: Annotated[
        str | None, typer.Option("--state", "-s", metavar="STATE", help="Power state; the last one if not given.")
    ] = None,
    fault: FaultOption = None,
    json: JsonOption = False,
) -> Answer:
    """Show the steady voltage of every net, on the healthy board or with faults."""
    from seqsim.board import Board

    return Answer(Board.load(board).levels(state, fault or ()), json)
