"""A YAML 1.2 text as a tree of source texts with line numbers.

Nothing is converted: `on`, `5E4` and `012` are names like others, and a lone `?` is a text too (YAML itself would
take it for the sign of a complex key). References (`&name`, `*name`) share their node, and what they would
expand to is counted before anything walks the tree, so that a short file cannot ask for gigabytes.
"""

from __future__ import annotations

import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.scanner import Scanner

from seqsim.circuit.names import one_line
from seqsim.errors import CircuitError

MOST_BYTES = 1 << 19
"""Longest file (bytes): a board of 3,000 parts needs about half of it."""
MOST_NODES = 100_000
"""Most nodes of the tree, references expanded."""
MOST_DEPTH = 16
"""Deepest nesting; the format itself needs five levels."""

_ENDS = "\0 \t\r\n\x85\u2028\u2029"


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar: its source text (quotes removed) and line."""

    text: str
    line: int


@dataclass(slots=True)
class Items:
    """A sequence."""

    items: list[Node]
    line: int
    size: int = 1


@dataclass(slots=True)
class Entries:
    """A mapping; keys may repeat, the reader of the section says what that means."""

    entries: list[tuple[Text, Node]]
    line: int
    size: int = 1
    key: Text | None = field(default=None, repr=False)


Node = Text | Items | Entries


class _Scanner(Scanner):
    """The scanner of YAML 1.2 without complex keys, so that `?` can stand for an unknown value."""

    def check_key(self) -> bool:
        return False

    def check_plain(self) -> bool:
        ahead = self.reader.peek
        if ahead() == "?" and (ahead(1) in _ENDS or (self.flow_level and ahead(1) in ",]}")):
            return True
        return bool(super().check_plain())


def read_bytes(path: Path) -> bytes:
    """Return the content of a file of bearable size.

    Raises
    ------
    CircuitError
        If it cannot be read, is no regular file, or is too long.
    """
    file = str(path)
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            what = "a folder" if stat.S_ISDIR(about.st_mode) else "no regular file"
            raise CircuitError(f"this is {what}; name a file", file=file, got=what)
        if about.st_size > MOST_BYTES:
            message = f"the file has {about.st_size} bytes, more than the {MOST_BYTES} that are read; split the board"
            raise CircuitError(message, file=file, expected=f"at most {MOST_BYTES} bytes", got=str(about.st_size))
        return path.read_bytes()
    except FileNotFoundError:
        raise CircuitError("there is no such file; check the path", file=file) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CircuitError(f"the file cannot be read ({reason}); check its name and rights", file=file) from None


def parse_source(content: bytes | str, file: str | None = None) -> Entries:
    """Return the tree of a YAML document whose root is a mapping.

    Raises
    ------
    CircuitError
        If the text is no YAML, is not a mapping, holds several documents, tags or endless references, or is too
        large or too deep.
    """
    text = content if isinstance(content, str) else decode(content, file)
    try:
        tree = _Tree(file)
        for event in events_of(text):
            tree.take(event)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = None if mark is None else mark.line + 1
        raise CircuitError(one_line(_syntax(error, text)), file=file, line=line) from None
    except YAMLError as error:
        line = _line_of_character(text, error)
        message = "there is a character that YAML does not allow (a control character?); remove it"
        raise CircuitError(message, file=file, line=line) from None
    except RecursionError:
        raise CircuitError("the file nests too deeply; write it flatter", file=file) from None
    root = tree.root
    if root is None:
        raise CircuitError("the file is empty; `seqsim check --new FILE` writes a starter", file=file, line=1)
    if not isinstance(root, Entries):
        message = "the file must be a mapping with keys such as `format:` and `parts:`"
        raise CircuitError(message, file=file, line=root.line, expected="a mapping")
    return root


def decode(content: bytes, file: str | None) -> str:
    """Return a text in UTF-8, without a byte order mark.

    Raises
    ------
    CircuitError
        If it is in another encoding.
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise CircuitError("the text is not UTF-8; save the file as UTF-8", file=file, line=line) from None


def events_of(text: str) -> Iterator[Event]:
    """Yield what the parser of YAML 1.2 finds, in order; a lone `?` is a text."""
    yaml = YAML(typ="safe", pure=True)
    yaml.Scanner = _Scanner
    yield from yaml.parse(text)


class _Tree:
    """A tree that grows by events, and refuses what would be too large, too deep or endless."""

    def __init__(self, file: str | None) -> None:
        self.root: Node | None = None
        self._file = file
        self._documents = 0
        self._count = 0
        self._open: list[tuple[Items | Entries, str | None]] = []
        self._anchors: dict[str, Node | None] = {}
        """None while the node is still open"""

    def take(self, event: Event) -> None:
        """Add what an event says."""
        match event:
            case DocumentStartEvent():
                self._documents += 1
                if self._documents > 1:
                    raise self._refuse("a second document begins here; keep one circuit in a file", event)
                if event.version is not None and tuple(event.version) != (1, 2):
                    raise self._refuse("the file asks for another version of YAML; remove the %YAML line", event)
            case SequenceEndEvent() | MappingEndEvent():
                closed, anchor = self._open.pop()
                if anchor is not None:
                    self._anchors[anchor] = closed
                self._place(closed, closed.size, event)
            case AliasEvent():
                self._place(*self._alias(event), event)
            case ScalarEvent():
                self._refuse_tag(event)
                text = Text(event.value, _line(event))
                if event.anchor is not None:
                    self._anchors[event.anchor] = text
                self._add(1, event)
                self._place(text, 1, event)
            case CollectionStartEvent():
                self._refuse_tag(event)
                if len(self._open) >= MOST_DEPTH:
                    raise self._refuse(
                        f"lists and mappings nest deeper than {MOST_DEPTH} levels; write it flatter", event
                    )
                if event.anchor is not None:
                    self._anchors[event.anchor] = None
                self._add(1, event)
                line = _line(event)
                node = Items([], line) if isinstance(event, SequenceStartEvent) else Entries([], line)
                self._open.append((node, event.anchor))

    def _alias(self, event: AliasEvent) -> tuple[Node, int]:
        if event.anchor not in self._anchors:
            message = f"'*{event.anchor}' refers to nothing; a name that begins with * needs quotes"
            raise self._refuse(message, event)
        target = self._anchors[event.anchor]
        if target is None:
            raise self._refuse(f"'*{event.anchor}' refers to what contains it; write the values out", event)
        size = 1 if isinstance(target, Text) else target.size
        self._add(size, event)
        return target, size

    def _place(self, node: Node, size: int, event: Event) -> None:
        if not self._open:
            self.root = node
            return
        above = self._open[-1][0]
        above.size += size
        if isinstance(above, Items):
            above.items.append(node)
        elif above.key is not None:
            above.entries.append((above.key, node))
            above.key = None
        elif isinstance(node, Text):
            above.key = node
        else:
            raise self._refuse("a list or mapping cannot be a key; write a plain name before the colon", event)

    def _add(self, size: int, event: Event) -> None:
        self._count += size
        if self._count > MOST_NODES:
            message = f"the file expands to more than {MOST_NODES} entries; write less, or without references"
            raise self._refuse(message, event)

    def _refuse_tag(self, event: ScalarEvent | CollectionStartEvent) -> None:
        if event.tag is not None:
            raise self._refuse(f"'{event.tag}' is a YAML tag; a name that begins with ! needs quotes", event)

    def _refuse(self, message: str, event: Event) -> CircuitError:
        return CircuitError(one_line(message), file=self._file, line=_line(event))


def _line(event: Event) -> int:
    return int(event.start_mark.line) + 1


def _syntax(error: MarkedYAMLError, text: str) -> str:
    problem = str(error.problem or "").strip()
    mark = error.problem_mark
    lines = text.splitlines()
    shown = lines[mark.line].strip() if mark is not None and mark.line < len(lines) else ""
    if "\\t" in problem or "tab" in problem.lower():
        return "a tab stands where YAML wants spaces; indent with spaces"
    if "scanning a tag" in str(error.context):
        return "a name that begins with ! needs quotes"
    if "scanning an alias" in str(error.context) or "scanning an anchor" in str(error.context):
        return "a name that begins with * or & needs quotes"
    if "cannot start any token" in problem and mark is not None and mark.line < len(lines):
        sign = lines[mark.line][mark.column : mark.column + 1]
        if sign == "\t":
            return "a tab stands where YAML wants spaces; indent with spaces"
        return f"a name that begins with {sign} needs quotes"
    hint = "check brackets, quotes, indentation, and a space after each colon and comma"
    return f"this is not YAML ({problem}), near '{shown[:60]}'; {hint}" if problem else f"this is not YAML; {hint}"


def _line_of_character(text: str, error: YAMLError) -> int | None:
    position = getattr(error, "position", None)
    return text.count("\n", 0, position) + 1 if isinstance(position, int) else None
