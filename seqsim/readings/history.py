"""What a file of readings tells of the board's past: phrases (``history:``), a file of past jobs (``past:``)."""

from __future__ import annotations

from pathlib import Path

from seqsim.circuit.source import Items, Node, Text
from seqsim.errors import ReadingError

Phrase = tuple[str, str | None, int | None]
"""A phrase with the file and line that say so."""
MOST_PHRASES = 100


def phrases(node: Node, file: str) -> tuple[Phrase, ...]:
    """Return the phrases of ``history:``, one or a list; what they mean is for who knows the board's faults.

    Raises
    ------
    ReadingError
        If they are no phrases.
    """
    nodes = node.items if isinstance(node, Items) else [node]
    if len(nodes) > MOST_PHRASES:
        raise ReadingError(
            f"history has more than {MOST_PHRASES} phrases; keep what matters", file=file, line=node.line
        )
    found = []
    for each in nodes:
        if not isinstance(each, Text):
            message = "history must be a list of phrases, like [liquid at J1, rework, 'leak x3']"
            raise ReadingError(message, file=file, line=each.line, expected="a list of phrases")
        found.append((each.text, file, each.line))
    return tuple(found)


def past_file(node: Node, file: str) -> str:
    """Return the path of the file of past jobs, which is told from the folder of the readings.

    Raises
    ------
    ReadingError
        If it is no path.
    """
    if not isinstance(node, Text):
        raise ReadingError("past must be the name of one file", file=file, line=node.line, expected="past: jobs.yaml")
    return str(Path(file).parent / node.text)
