"""`seqsim spice`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, FaultOption, JsonOption


def spice(
    board: BoardArgument,
    state: Annotated[
        str | None, typer.Option("--state", "-s", metavar="STATE", help="Power state; the last one if not given.")
    ] = None,
    fault: FaultOption = None,
    full: Annotated[
        bool, typer.Option("--full", help="Device models with all their effects, not those of the plain laws.")
    ] = False,
    deck: Annotated[bool, typer.Option("--deck", help="Print the deck and stop; needs no engine.")] = False,
    json: JsonOption = False,
) -> Answer:
    """Run the board in SPICE, healthy or with faults, beside the switch-level answer."""
    from seqsim.board import Board

    loaded = Board.load(board)
    if deck:
        return Answer(str(loaded.spice_deck(state, fault or (), full=full)))
    return Answer(loaded.spice(state, fault or (), full=full), json)
