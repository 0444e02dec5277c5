"""`seqsim verify`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import DONE, FOUND, Answer, BoardArgument, JsonOption, ReadingsArgument, ReadOption


def verify(
    board: BoardArgument,
    readings: ReadingsArgument = None,
    read: ReadOption = None,
    repaired: Annotated[
        list[str] | None,
        typer.Option(
            "--repaired",
            metavar="PLACE:MODE",
            help="A fault that was repaired: what proves that it is gone is asked for, too; can be given repeatedly.",
        ),
    ] = None,
    json: JsonOption = False,
) -> Answer:
    """Judge a repaired board: rails in their order, place by place, and what has still to be read.

    The exit code is 0 when everything that has to be read was read and is right, else 1.
    """
    from seqsim.board import Board

    asked = Board.load(board)
    taken = asked.read(readings, read or ()) if readings is not None or read else None
    found = asked.verify(taken, repaired=repaired or ())
    return Answer(found, json, DONE if found.good else FOUND)
