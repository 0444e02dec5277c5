"""`seqsim logic`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, FaultOption, JsonOption


def logic(
    board: BoardArgument,
    node: Annotated[
        str | None, typer.Argument(metavar="NODE", help="A net, pin, pad or copper; the target if not given.")
    ] = None,
    state: Annotated[
        str | None,
        typer.Option(
            "--state", "-s", metavar="STATE", help="Power state in which other inputs stand; the last if not given."
        ),
    ] = None,
    fault: FaultOption = None,
    inputs: Annotated[
        str | None,
        typer.Option("--inputs", metavar="NAMES", help="Supplies, signals and switches, separated by commas."),
    ] = None,
    json: JsonOption = False,
) -> Answer:
    """Show a node as a function of supplies, signals and switches: truth table, shortest expression, stages."""
    from seqsim.board import Board

    names = None if inputs is None else [name.strip() for name in inputs.split(",") if name.strip()]
    return Answer(Board.load(board).logic(node, state, fault or (), inputs=names), json)
