"""`seqsim rank`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, HistoryOption, JsonOption, PastOption, ReadingsArgument, ReadOption

NEXT = 3
"""Next readings that a ranking advises when asked to."""


def rank(
    board: BoardArgument,
    readings: ReadingsArgument = None,
    read: ReadOption = None,
    history: HistoryOption = None,
    past: PastOption = None,
    following: Annotated[
        bool, typer.Option("--next", help="Advise the best three next readings, too; this takes some seconds more.")
    ] = False,
    json: JsonOption = False,
) -> Answer:
    """Rank the faults that explain what was measured: where, what, how to confirm it, how to repair it."""
    from seqsim.board import Board

    asked = Board.load(board)
    taken = asked.read(readings, read or (), history=history or (), past=past)
    return Answer(asked.rank(taken, following=NEXT if following else 0), json)
