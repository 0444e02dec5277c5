"""`seqsim why`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, FaultOption, JsonOption


def why(
    board: BoardArgument,
    node: Annotated[
        str | None, typer.Argument(metavar="NODE", help="A net, pin, pad or copper; the target if not given.")
    ] = None,
    state: Annotated[
        str | None, typer.Option("--state", "-s", metavar="STATE", help="Power state; the last one if not given.")
    ] = None,
    fault: FaultOption = None,
    read: Annotated[
        list[str] | None,
        typer.Option(
            "--read",
            "-r",
            metavar="READING",
            help="A reading in shorthand, like 'EN 0.02'; with readings, the measured board is explained.",
        ),
    ] = None,
    readings: Annotated[
        str | None, typer.Option("--readings", metavar="FILE", help="A file of readings, YAML or CSV.")
    ] = None,
    deep: Annotated[bool, typer.Option("--deep", help="All of it, through rails that are up.")] = False,
    json: JsonOption = False,
) -> Answer:
    """Explain the level of a node: who pulls which way, what holds each device on or off, and what would flip it."""
    from seqsim.board import Board

    return Answer(Board.load(board).why(node, state, fault or (), readings=readings, read=read or (), deep=deep), json)
