"""Changes in the text of a YAML file that leave all else as it stands: comments, order, blank lines, alignment.

The parser says from where to where each scalar and each mapping reaches; a change puts new text there, or adds an entry
behind the last one of a mapping. What is not changed stays byte by byte.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    MappingStartEvent,
    ScalarEvent,
)

from seqsim.circuit.source import Items, Node, Text, events_of

INDENT = "  "
_PLAIN = re.compile(r"[\w+.%Ω/-][\w+.%Ω#/-]*(?: [\w+.%Ω/-][\w+.%Ω#/-]*)*")
"""Texts that YAML leaves as they are, in lists too; a lone `?` stands for an unknown value."""


def scalar_text(text: str) -> str:
    """Return a scalar as it is written in a file, with quotes where it needs them."""
    return text if text == "?" or _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def flow_text(node: Node) -> str:
    """Return a node as it is written on one line."""
    match node:
        case Text():
            return scalar_text(node.text)
        case Items():
            return f"[{', '.join(flow_text(item) for item in node.items)}]"
    return f"{{{', '.join(f'{scalar_text(key.text)}: {flow_text(value)}' for key, value in node.entries)}}}"


@dataclass(slots=True)
class Spot:
    """A node of a file and where it stands: characters ``start`` to ``end`` of the text.

    A scalar has its ``text`` (quotes removed), a mapping ``entries``, a list ``items``; what is written by reference
    has none of these.
    """

    start: int
    end: int
    line: int
    text: str | None = None
    mapping: bool = False
    flow: bool = False
    entries: list[tuple[Spot, Spot]] = field(default_factory=list)
    items: list[Spot] = field(default_factory=list)

    def get(self, key: str) -> Spot | None:
        """Return the value of a key; None if there is none."""
        return next((value for name, value in self.entries if name.text == key), None)

    def scalars(self) -> Iterator[Spot]:
        """Yield all scalars below, keys among them."""
        if self.text is not None:
            yield self
        for key, value in self.entries:
            yield from key.scalars()
            yield from value.scalars()
        for item in self.items:
            yield from item.scalars()

    def last(self) -> int:
        """Return where the last thing written ends: a block reaches up to what follows it, comments included."""
        if self.flow or not (self.entries or self.items):
            return self.end
        return self.entries[-1][1].last() if self.entries else self.items[-1].last()


def spots(text: str) -> Spot:
    """Return the tree of a text that was parsed before, with the places where each node stands."""
    root: Spot | None = None
    above: list[tuple[Spot, Spot | None]] = []

    def place(spot: Spot) -> None:
        nonlocal root
        if not above:
            root = spot
            return
        parent, key = above[-1]
        if not parent.mapping:
            parent.items.append(spot)
        elif key is None:
            above[-1] = parent, spot
        else:
            parent.entries.append((key, spot))
            above[-1] = parent, None

    for event in events_of(text):
        match event:
            case ScalarEvent() | AliasEvent():
                start, end = event.start_mark, event.end_mark
                value = event.value if isinstance(event, ScalarEvent) else None
                place(Spot(start.index, end.index, start.line + 1, value))
            case CollectionStartEvent():
                start = event.start_mark
                spot = Spot(
                    start.index, start.index, start.line + 1, mapping=isinstance(event, MappingStartEvent),
                    flow=bool(event.flow_style),
                )  # fmt: skip
                place(spot)
                above.append((spot, None))
            case CollectionEndEvent():
                above.pop()[0].end = event.end_mark.index
    return root if root is not None else Spot(0, 0, 1, mapping=True)


def replaced(text: str, spot: Spot, new: str) -> str:
    """Return the text with something else in the place of a node."""
    return text[: spot.start] + new + text[spot.end :]


def added(text: str, path: tuple[str, ...], key: str, value: str) -> str:
    """Return the text with an entry behind the last one of a mapping; mappings of the path that lack are begun.

    Parameters
    ----------
    path
        Keys from the root to the mapping.
    key, value
        The entry as it is to be written, the value on one line.
    """
    root = spots(text)
    at, left = root, list(path)
    while left and (inner := at.get(left[0])) is not None and inner.mapping:
        at, left = inner, left[1:]
    empty = at.get(left[0]) if left else None
    entry = f"{key}: {value}"
    for depth, name in enumerate(reversed(left)):
        begun = f"{{{entry}}}" if depth or at.flow or at is not root else f"\n{INDENT}{entry}"
        entry = f"{name}:{'' if begun.startswith(chr(10)) else ' '}{begun}"
    if empty is not None:
        return text[: empty.end] + entry.removeprefix(f"{left[0]}:") + text[empty.end :]
    if at.flow:
        return _in_flow(text, at, entry)
    end = text.find("\n", len(text[: at.last()].rstrip()))
    end = len(text) if end < 0 else end
    column = at.entries[0][0].start - (text.rfind("\n", 0, at.entries[0][0].start) + 1) if at.entries else 0
    before = text[:end].removesuffix("\r")
    line_end = "\r\n" if text[:end].endswith("\r") else "\n"
    shown = entry.replace("\n", line_end)
    return f"{before}{line_end}{' ' * column}{shown}{text[len(before) :]}"


def _in_flow(text: str, at: Spot, entry: str) -> str:
    """Return the text with an entry before the closing brace."""
    if not at.entries:
        return text[: at.start] + f"{{{entry}}}" + text[at.end :]
    end = at.entries[-1][1].last()
    return f"{text[:end]}, {entry}{text[end:]}"
