"""`seqsim notes`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seqsim.cli.answer import BAD_INPUT, DONE, Answer, JsonOption
from seqsim.errors import SeqsimError

if TYPE_CHECKING:
    from seqsim.circuit.notes_file import NotesFile

PAGE = """\
One fact a line, in any order and case; # begins a comment.

\b
R12 10k 1=V5 2=Q7.1          a part: kind, value, pins and what they touch
Q7 npn? 1=R12.2 2=gnd 3=EN   ? for doubt: Q7 ?, Q7 sot23?, R12 ?, R12 10k?
D3 zener 10V A=EN K=V12      words of the bench: fet, schottky, ldo, not
R12.2 = Q7.1                 beeped; also R12 pin 2 = Q7 pin 1
R1.2 = Q1.B via VIA3         beeped through copper that has a name
R12.2 not Q7.1               expected, and does not beep
EN goes U4.5                 a track that is seen, not beeped
EN goes on                   to what is not traced
EN done                      nothing else lies on it
Q7.1 is BASE                 a net's name (else its first pin's)
V5 5.02                      a supply that was seen, so a reading too
VBAT 24 0.1ohm 3A on V24     a supply that is described
START 3.3 1k idle low        a signal of another board
target EN                    what should come up
state run: V5 START, SW1 pressed after 50ms
rail VOUT 12                 a net that should come up, and how far
read EN 0.02 @run            a reading, as for `seqsim rank`
title ..., about ..., ground AGND

\b
Stages in one line:
Q3 inverts EN from G7, through R8 10k, pull-up R9 to V5, pull-down R4 at base
M1 switches OUT from V12 by GATE, pull-up R4 to V12 at gate
U5 follows RUN from ARMED
"""


def notes(
    file: Annotated[
        Path,
        typer.Argument(metavar="NOTES", help="A file of notes (.notes), which may not exist yet; or a circuit file."),
    ],
    add: Annotated[
        list[str] | None, typer.Option("--add", "-a", metavar="FACT", help="Add a line; can be given repeatedly.")
    ] = None,
    drop: Annotated[int | None, typer.Option("--drop", metavar="LINE", help="Take a line out, by its number.")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the last line out.")] = False,
    read: Annotated[
        list[str] | None,
        typer.Option("--read", "-r", metavar="READING", help="A reading to weigh the doubts with; repeatable."),
    ] = None,
    circuit: Annotated[bool, typer.Option("--circuit", help="Print the notes as a circuit file.")] = False,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="FILE", help="With --circuit: write it to a new file.")
    ] = None,
    json: JsonOption = False,
) -> Answer | int:
    """Keep notes while tracing a board: show them, add to them, and learn what to trace next.

    Without options, at a terminal, lines are typed one after the other. In a circuit file --add puts what is certain in
    its place (a part, a value, a contact, a net's name, a supply, a power state, a rail, the target); its comments,
    order and blank lines stay.
    """
    from seqsim.circuit.notes_file import NotesFile
    from seqsim.circuit.reader import is_notes
    from seqsim.circuit.source import read_bytes
    from seqsim.results.notes import notes_view

    if output is not None and not circuit:
        raise SeqsimError("`notes --output` goes with --circuit; give both")
    if file.exists() and not is_notes(file, read_bytes(file)):
        if undo or drop is not None or circuit:
            option = "--circuit" if circuit else "--undo" if undo else "--drop"
            raise SeqsimError(
                f"{option} is for notes, and {file} is a circuit file; change it in an editor, or with --add"
            )
        return _in_circuit_file(file, add or (), read or (), as_json=json)
    held = NotesFile.open(file)
    changing = bool(add or undo or drop is not None)
    if not (changing or circuit or json or read) and sys.stdin.isatty() and sys.stdout.isatty():
        from seqsim.cli.notes_prompt import converse

        return converse(held)
    if undo:
        held = held.undo()
    if drop is not None:
        held = held.drop(drop)
    for line in add or ():
        held = held.add(line)
    if changing:
        held = held.save()
    if circuit:
        return _circuit(held, output)
    if not held.lines:
        raise SeqsimError(f"there are no notes in {file} yet; begin with: seqsim notes {file} --add 'target EN'")
    view = notes_view(held, read or ())
    errors = () if json else tuple(str(error) for error in view.errors)
    return Answer(view, json, BAD_INPUT if view.errors else DONE, errors)


def _in_circuit_file(file: Path, add: Sequence[str], read: Sequence[str], *, as_json: bool) -> Answer:
    from seqsim.circuit.circuit_file import CircuitFile
    from seqsim.results.notes import circuit_file_view

    held = CircuitFile.open(file)
    for line in add:
        held = held.add(line)
    view = circuit_file_view(held, read)
    if held.changes:
        held.save()
    return Answer(view, as_json)


def _circuit(held: NotesFile, output: Path | None) -> Answer:
    from seqsim.circuit.notes_yaml import circuit_text, write_new

    text = circuit_text(held)
    if output is None:
        return Answer(text.rstrip("\n"))
    write_new(output, text)
    return Answer(f"{output}: written; check it with: seqsim check {output}")
