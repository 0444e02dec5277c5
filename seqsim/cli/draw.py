"""`seqsim draw`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seqsim.cli.answer import Answer, FaultOption, JsonOption
from seqsim.errors import SeqsimError


def draw(
    board: Annotated[
        str | None,
        typer.Argument(metavar="BOARD", help="A circuit file, or the name of a circuit that `seqsim list` shows."),
    ] = None,
    readings: Annotated[
        str | None, typer.Argument(metavar="READINGS", help="A file of readings, marked where they were taken.")
    ] = None,
    node: Annotated[
        str | None, typer.Option("--for", metavar="NODE", help="Draw only what decides this net or pin.")
    ] = None,
    state: Annotated[
        str | None, typer.Option("--state", "-s", metavar="STATE", help="Power state; the last one if not given.")
    ] = None,
    fault: FaultOption = None,
    read: Annotated[
        list[str] | None,
        typer.Option("--read", "-r", metavar="READING", help="A reading in shorthand, like 'EN 0.02'; repeatable."),
    ] = None,
    whole: Annotated[
        bool, typer.Option("--whole", help="All of a board that is too large for one page; else its target's chain.")
    ] = False,
    levels: Annotated[bool, typer.Option("--levels", help="Draw the levels of each net in each power state.")] = False,
    ranking: Annotated[bool, typer.Option("--ranking", help="Draw the ranking by the readings.")] = False,
    gallery: Annotated[
        Path | None,
        typer.Option("--gallery", metavar="FOLDER", help="Draw every circuit of the library, with a page of them all."),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="The picture: .svg, .png or .pdf; an SVG here by default."),
    ] = None,
    json: JsonOption = False,
) -> Answer:  # fmt: skip
    """Draw the chain from the sources to the target, the levels of all power states, or a ranking."""
    if gallery is not None:
        if board is not None:
            raise SeqsimError("--gallery draws the whole library and takes no board; leave one of them out")
        from seqsim.drawing.gallery import draw_gallery

        return Answer(draw_gallery(gallery), json)
    if board is None:
        raise SeqsimError("`draw` needs a board; name a circuit file or one that `seqsim list` shows")
    if levels and ranking:
        raise SeqsimError("--levels and --ranking are two pictures; ask for one of them at a time")
    from seqsim.board import Board
    from seqsim.drawing.draw import draw as draw_result
    from seqsim.drawing.draw import draw_levels
    from seqsim.drawing.drawn import Drawn

    asked = Board.load(board)
    if ranking:
        picture = draw_result(asked.rank(readings, read or ()))
    elif levels:
        picture = draw_levels(asked.name, asked.circuit, fault or ())
    else:
        picture = asked.draw(node, state, fault or (), readings=readings, read=read or (), whole=whole)
    path = output or Path(f"{Path(board).stem}.{picture.kind}.svg")
    return Answer(Drawn(board, ((picture.save(path), picture),)), json)
