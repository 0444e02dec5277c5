"""The shop's own past: a file of what was found on boards of this kind, counted by fault, place or kind."""

from __future__ import annotations

import os
from pathlib import Path

from seqsim.circuit.names import suggest
from seqsim.circuit.source import Entries, Text, parse_source
from seqsim.errors import CircuitError, ReadingError

FORMAT = "1"
MOST_BYTES = 1 << 20
MOST_JOBS = 1_000_000
FORM = "format: 1, then diagnosed: with counts like {'Q1:C-E short': 4, VIA3: 2, joint: 7}"


def read_past(path: str | os.PathLike[str]) -> tuple[tuple[str, int], ...]:
    """Return what a file of past jobs counts, by fault, place or kind, in its order.

    Raises
    ------
    ReadingError
        If there is no such file, or something in it is not understood.
    """
    file = os.fspath(path)
    try:
        content = Path(path).read_bytes()[: MOST_BYTES + 1]
        text = content.decode("utf-8-sig")
    except OSError as error:
        message = f"the file of past jobs cannot be read ({error.strerror}); check its name and rights"
        raise ReadingError(message, file=file) from None
    except UnicodeDecodeError:
        raise ReadingError("the text is not UTF-8; save the file as UTF-8", file=file) from None
    if len(content) > MOST_BYTES:
        raise ReadingError(f"the file has more than {MOST_BYTES} bytes; count its jobs together", file=file)
    try:
        root = parse_source(text, file)
    except CircuitError as error:
        raise ReadingError(f"{error.message} (a file of past jobs: {FORM})", file=file, line=error.line) from None
    return _counted(root, file)


def _counted(root: object, file: str) -> tuple[tuple[str, int], ...]:
    if not isinstance(root, Entries):
        raise ReadingError(f"a file of past jobs is a mapping; write {FORM}", file=file)
    sections = {}
    for key, node in root.entries:
        if key.text not in ("format", "diagnosed") or key.text in sections:
            what = "stands twice" if key.text in sections else f"is no key{suggest(key.text, ('format', 'diagnosed'))}"
            raise ReadingError(f"'{key.text}' {what}; write {FORM}", file=file, line=key.line, got=key.text)
        sections[key.text] = node
    given, counts = sections.get("format"), sections.get("diagnosed")
    if not isinstance(given, Text) or given.text != FORMAT:
        raise ReadingError(f"the file does not begin with `format: 1`; write {FORM}", file=file, line=1)
    if not isinstance(counts, Entries):
        raise ReadingError(f"nothing is counted; write {FORM}", file=file, line=root.line)
    found: dict[str, int] = {}
    for key, node in counts.entries:
        shown = node.text if isinstance(node, Text) else "a list"
        if not shown.isdecimal() or int(shown) > MOST_JOBS:
            message = f"'{key.text}' was found '{shown}' times; write a whole number of jobs"
            raise ReadingError(message, file=file, line=key.line, got=shown)
        if key.text in found:
            raise ReadingError(f"'{key.text}' is counted twice; add the jobs up", file=file, line=key.line)
        found[key.text] = int(shown)
    return tuple(found.items())
