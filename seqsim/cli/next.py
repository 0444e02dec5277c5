"""`seqsim next`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, HistoryOption, JsonOption, PastOption, ReadingsArgument, ReadOption


def next_(
    board: BoardArgument,
    readings: ReadingsArgument = None,
    read: ReadOption = None,
    history: HistoryOption = None,
    past: PastOption = None,
    most: Annotated[int, typer.Option("--most", min=1, max=20, help="How many readings to advise.")] = 5,
    json: JsonOption = False,
) -> Answer:
    """Advise the next reading: what tells most for its time, what each outcome would mean, and when to stop."""
    from seqsim.board import Board

    asked = Board.load(board)
    taken = asked.read(readings, read or ()) if readings is not None or read else None
    return Answer(asked.next(taken, most=most, history=history or (), past=past), json)
