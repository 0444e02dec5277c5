"""The lines of a netlist: title, comments, continuation lines, and where each begins."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from seqsim.netlist.problems import Problems

_INLINE = re.compile(r"(?:^|\s)\$.*|;.*|//.*")
_EXPRESSION = re.compile(r"[{}'\"]")


@dataclass(frozen=True, slots=True)
class Line:
    """A line with its continuation lines, comments removed; ``number`` is where it begins."""

    number: int
    text: str

    @property
    def words(self) -> list[str]:
        """Its words; a parameter `W = 10u` is one word, `W=10u`."""
        return re.sub(r"\s*=\s*", "=", self.text.replace(",", " ")).split()


def read_lines(content: str, problems: Problems) -> tuple[str, list[Line]]:
    """Return the title, and the lines that say something, up to `.end`.

    Blocks of commands (`.control` to `.endc`) and what follows `.end` are left out, and noted.
    """
    first, *rest = content.splitlines() or [""]
    title = first.lstrip("* \t").rstrip()
    lines: list[Line] = []
    ended = False
    inside = 0
    for number, text in _joined(rest, problems):
        word = text.split(maxsplit=1)[0].lower()
        if ended:
            problems.note(number, f"'{text}' follows .end and is left out")
        elif inside:
            inside = 0 if word == ".endc" else inside
        elif word == ".control":
            problems.note(number, "commands between .control and .endc are left out")
            inside = number
        elif word == ".end":
            ended = True
        elif word == ".title":
            title = text.partition(" ")[2].strip()
        elif _EXPRESSION.search(text):
            problems.error(number, f"'{text}' has an expression or a quoted text; write the number itself", got=text)
        else:
            lines.append(Line(number, text))
    if inside:
        problems.error(inside, ".control is never closed; write .endc after its commands")
    return title, lines


def _joined(rest: list[str], problems: Problems) -> Iterator[tuple[int, str]]:
    """Yield the line number and text of each line, with the lines that continue it."""
    number, text = 0, ""
    for at, raw in enumerate(rest, start=2):
        bare = "" if raw.lstrip().startswith("*") else _INLINE.sub("", raw).strip()
        if not bare:
            continue
        if bare.startswith("+"):
            if text:
                text += " " + bare[1:].strip()
            else:
                problems.error(
                    at, "a line that begins with + continues none; move it behind the line that it belongs to"
                )
            continue
        if text:
            yield number, text
        number, text = at, bare
    if text:
        yield number, text
