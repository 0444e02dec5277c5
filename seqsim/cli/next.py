"""`seqsim next`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, JsonOption


def next_(
    board: BoardArgument,
    readings: Annotated[
        str | None, typer.Argument(metavar="READINGS", help="A file of readings, YAML or CSV; none for the first one.")
    ] = None,
    read: Annotated[
        list[str] | None,
        typer.Option(
            "--read",
            "-r",
            metavar="READING",
            help="A reading that was taken, in shorthand, like 'EN 0.02'; can be given repeatedly.",
        ),
    ] = None,
    most: Annotated[int, typer.Option("--most", min=1, max=20, help="How many readings to advise.")] = 5,
    json: JsonOption = False,
) -> Answer:
    """Advise the next reading: what tells most for its time, what each outcome would mean, and when to stop."""
    from seqsim.board import Board

    asked = Board.load(board)
    taken = asked.read(readings, read or ()) if readings is not None or read else None
    return Answer(asked.next(taken, most=most), json)
