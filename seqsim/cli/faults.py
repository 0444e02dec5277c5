"""`seqsim faults`."""

from __future__ import annotations

from seqsim.cli.answer import Answer, BoardArgument, HistoryOption, JsonOption, PastOption


def faults(
    board: BoardArgument, history: HistoryOption = None, past: PastOption = None, json: JsonOption = False
) -> Answer:
    """List every single fault that the board can have, with its share before any reading and where that comes from."""
    from seqsim.board import Board

    return Answer(Board.load(board).faults(history or (), past), json)
