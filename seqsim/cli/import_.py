"""`seqsim import`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seqsim.cli.answer import Answer
from seqsim.errors import SeqsimError


def import_(
    netlist: Annotated[Path, typer.Argument(metavar="NETLIST", help="A SPICE netlist of discrete parts.")],
    state: Annotated[
        list[str] | None,
        typer.Option(
            "--state", "-s", metavar="NAME=SOURCES",
            help="A power state and the sources that it applies, like running=V1,V2; can be given repeatedly. Without "
            "it one state applies all sources.",
        ),
    ] = None,
    target: Annotated[
        str | None, typer.Option("--target", "-t", metavar="NODE", help="The enable under investigation.")
    ] = None,
) -> Answer:  # fmt: skip
    """Turn a SPICE netlist into a circuit file on standard output.

    Elements R C L D Q M V I and X, with .model and .subckt. What the circuit file says otherwise, or leaves out, is
    told on standard error with its line; a line that is not understood ends the import.
    """
    states = {}
    for text in state or ():
        name, equals, sources = text.partition("=")
        if not equals or not name.strip():
            raise SeqsimError(f"--state is '{text}', but it must name a state and its sources, like running=V1,V2")
        states[name.strip()] = [source.strip() for source in sources.split(",") if source.strip()]
    from seqsim.netlist import import_netlist

    imported = import_netlist(netlist, states=states, target=target)
    notes = tuple(f"{netlist}:{note.line}: {note.text}" for note in imported.notes)
    return Answer(imported.text.rstrip("\n"), complaints=notes)
