"""Notes written as a circuit file, comments included."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from seqsim.circuit.doubts import About, Doubt
from seqsim.circuit.draft import Draft
from seqsim.circuit.notes_compile import read_facts, tree_of
from seqsim.circuit.notes_file import NotesFile
from seqsim.circuit.notes_joined import note
from seqsim.circuit.reader import parse_circuit
from seqsim.circuit.source import Entries, Node, Text
from seqsim.circuit.source_edit import flow_text, scalar_text
from seqsim.errors import CircuitError

_COMMENT = re.compile(r"^\s*#\s?(.*)$")


def circuit_text(notes: NotesFile) -> str:
    """Return notes as the text of a circuit file.

    Doubtful parts stand as what they most likely are, with a comment that says what else they may be; what lies beyond
    open ends, and readings, are left out with a comment. Comments of the notes come first.

    Raises
    ------
    CircuitErrors
        If the notes describe no circuit.
    """
    circuit = notes.circuit()
    draft = Draft(str(notes.path))
    root = tree_of(draft, note(draft, read_facts(draft, notes.lines))).root()
    doubts = {doubt.name: doubt for doubt in circuit.doubts if doubt.about is About.KIND}
    lines = [f"# Written from {notes.path.name}; each part has its notes' line."]
    comments = [found[1] for line in notes.lines if (found := _COMMENT.match(line))]
    lines += [f"# {comment}".rstrip() for comment in comments]
    for key, value in root.entries:
        if isinstance(value, Text):
            lines.append(f"{key.text}: {scalar_text(value.text)}")
        elif isinstance(value, Entries):
            lines.append(f"{key.text}:")
            lines += [_item(name, node, doubts if key.text == "parts" else {}) for name, node in value.entries]
    for doubt in circuit.doubts:
        if doubt.about is not About.KIND:
            lines.append(f"# not known: {doubt.question}")
    lines += [f"# read: {text}" for _, text in circuit.noted]
    text = "".join(f"{line}\n" for line in lines)
    parse_circuit(text, str(notes.path))
    return text


def write_new(path: Path, text: str) -> None:
    """Write a text to a new file.

    Raises
    ------
    CircuitError
        If the file exists already or cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise CircuitError("this file exists already and is left alone; name a new one", file=str(path)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CircuitError(f"the file cannot be written ({reason}); check its folder", file=str(path)) from None


def _item(name: Text, node: Node, doubts: Mapping[str, Doubt]) -> str:
    doubt = doubts.get(name.text)
    remark = f"line {name.line}"
    if doubt is not None:
        others = ", ".join(answer.label for answer in doubt.answers[1:4])
        remark += f"; doubtful, may be {others}"
    return f"  {scalar_text(name.text)}: {flow_text(node)}  # {remark}"
