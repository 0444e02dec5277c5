"""`seqsim list`."""

from __future__ import annotations

from typing import Annotated

import typer

from seqsim.cli.answer import Answer, JsonOption
from seqsim.errors import SeqsimError


def list_(
    kind: Annotated[
        str | None, typer.Argument(metavar="KIND", help="With --parts: one kind, with units, defaults and sources.")
    ] = None,
    parts: Annotated[bool, typer.Option("--parts", help="List the kinds of parts instead of the circuits.")] = False,
    json: JsonOption = False,
) -> Answer:
    """List the circuits of the library, or the kinds of parts that a circuit file can name."""
    if kind is not None and not parts:
        raise SeqsimError(f"`list` takes a name only with --parts; write `seqsim list --parts {kind}`")
    from seqsim.results import list_circuits, list_kinds

    return Answer(list_kinds(kind) if parts else list_circuits(), json)
