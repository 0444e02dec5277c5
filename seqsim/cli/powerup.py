"""`seqsim powerup`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seqsim.cli.answer import Answer, BoardArgument, FaultOption, JsonOption


def powerup(
    board: BoardArgument,
    fault: FaultOption = None,
    until: Annotated[
        str | None,
        typer.Option(
            "--until", "-u", metavar="TIME", help="End, like 200ms; some time after the last power state if not given."
        ),
    ] = None,
    down: Annotated[bool, typer.Option("--down", help="Go back through the power states afterwards.")] = False,
    boards: Annotated[
        int | None,
        typer.Option(
            "--boards", min=0, max=1000, metavar="N",
            help="Boards with other tolerances to run beside the nominal one (16 if not given; 0 for none).",
        ),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw rails and signals over time (png, svg, pdf).")
    ] = None,
    json: JsonOption = False,
) -> Answer:  # fmt: skip
    """Power the board up over time: the order of the rails, the first that is missing, what it waits for."""
    from seqsim.board import Board
    from seqsim.sequence.timetable import seconds_of

    asked = Board.load(board)
    if plot is not None:
        from seqsim.drawing.timeline import drawable

        drawable(plot)
    seconds = seconds_of(until)
    result = asked.powerup(fault or (), seconds, down=down, draws=boards)
    if plot is not None:
        from seqsim.drawing.timeline import draw_timeline

        draw_timeline(result, asked.circuit, plot)
    return Answer(result, json)
