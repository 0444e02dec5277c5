"""A circuit file while it is read: errors are collected, so that one pass names them all."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from seqsim.circuit.names import name_fault, one_line, suggest
from seqsim.circuit.source import Entries, Items, Node, Text
from seqsim.errors import CircuitError, QuantityError
from seqsim.quantity import Unit, parse_quantity

MOST_ERRORS = 200


class CircuitErrors(CircuitError):  # noqa: N818 - it is a group of errors, as ExceptionGroup is
    """Several things are wrong with a circuit file: its text is the first, ``errors`` lists them all."""

    def __init__(self, errors: Iterable[CircuitError]) -> None:
        self.errors = tuple(errors)
        first = self.errors[0]
        super().__init__(
            first.message, file=first.file, line=first.line, place=first.place, expected=first.expected, got=first.got
        )

    def __str__(self) -> str:
        more = len(self.errors) - 1
        tail = f" (and {more} more error{'s' if more > 1 else ''}; `seqsim check` lists them)" if more else ""
        return super().__str__() + tail


@dataclass(frozen=True, slots=True)
class Entry:
    """A value of a mapping and the line of its key."""

    line: int
    node: Node


@dataclass(slots=True)
class Draft:
    """The errors and lines found so far, and the small readers that all sections share.

    Each small reader returns None after it has noted an error.
    """

    file: str | None
    errors: list[CircuitError] = field(default_factory=list)
    lines: dict[str, int] = field(default_factory=dict)

    def error(
        self, message: str, line: int | None, *, place: str | None = None, expected: str | None = None,
        got: str | None = None,
    ) -> None:  # fmt: skip
        """Note an error."""
        error = CircuitError(one_line(message), file=self.file, line=line, place=place, expected=expected, got=got)
        self.errors.append(error)
        if len(self.errors) >= MOST_ERRORS:
            raise CircuitErrors(self.errors)

    def finish(self) -> None:
        """Raise what was noted, in the order of the lines."""
        if self.errors:
            raise CircuitErrors(sorted(self.errors, key=lambda error: error.line or 0))

    def entries(self, node: Node, what: str, allowed: Collection[str] | None = None) -> dict[str, Entry]:
        """Return the entries of a mapping; duplicate keys, and unknown ones if ``allowed`` is given, are errors."""
        if isinstance(node, Text) and not node.text:
            return {}
        if not isinstance(node, Entries):
            self.error(f"{what} must be a mapping, like `{{key: value}}`", node.line, expected="a mapping")
            return {}
        found: dict[str, Entry] = {}
        for key, value in node.entries:
            name = key.text
            if name in found:
                message = f"{what} has '{name}' twice, first on line {found[name].line}; remove or rename one"
                self.error(message, key.line, place=name)
            elif allowed is not None and name not in allowed:
                hint = "; put a space after the colon" if ":" in name else suggest(name, allowed)
                if name == "<<":
                    hint = "; YAML 1.2 merges nothing, write the values out or use `models:`"
                self.error(f"{what} has no key '{name}'{hint}", key.line, place=name, got=name)
            else:
                found[name] = Entry(key.line, value)
        return found

    def named(self, node: Node, what: str) -> dict[str, Entry]:
        """Return the entries of a mapping whose keys are names."""
        found = self.entries(node, what)
        for name, entry in list(found.items()):
            if not self.good_name(name, entry.line):
                del found[name]
        return found

    def good_name(self, name: str, line: int) -> bool:
        """Tell whether a name is allowed; note an error if not."""
        fault = name_fault(name)
        if fault is not None:
            self.error(fault, line, got=name)
        return fault is None

    def text(self, node: Node, what: str) -> str | None:
        """Return a text that is not empty."""
        if isinstance(node, Text) and node.text:
            return node.text
        if isinstance(node, Text):
            self.error(f"{what} is empty; write a value or remove the key", node.line)
        else:
            self.error(f"{what} must be one value, not a list or mapping", node.line, expected="one value")
        return None

    def texts(self, node: Node, what: str) -> list[Text]:
        """Return the texts of a list; a single text is a list of one."""
        if isinstance(node, Text):
            return [node] if node.text else []
        if isinstance(node, Entries):
            self.error(f"{what} must be a list, like `[A, B]`", node.line, expected="a list")
            return []
        found = []
        for item in node.items:
            if isinstance(item, Text) and item.text:
                found.append(item)
            else:
                self.error(f"{what} must be a list of names, like `[A, B]`", item.line, expected="a list of names")
        return found

    def choice(self, node: Node, what: str, words: Collection[str]) -> str | None:
        """Return one of several words."""
        text = self.text(node, what)
        if text is not None and text not in words:
            self.error(f"{what} is '{text}', but it must be {' or '.join(words)}", node.line, got=text)
            return None
        return text

    def flag(self, node: Node, what: str) -> bool | None:
        """Return a truth value."""
        words = {"true": True, "yes": True, "on": True, "false": False, "no": False, "off": False}
        text = self.text(node, what)
        if text is None:
            return None
        if text.lower() not in words:
            self.error(f"{what} is '{text}', but it must be true or false", node.line, got=text)
        return words.get(text.lower())

    def quantity(
        self, node: Node, what: str, unit: Unit, *, least: float = 0.0, most: float = math.inf
    ) -> float | None:
        """Return a quantity within limits, in SI units."""
        text = self.text(node, what)
        if text is None:
            return None
        try:
            number = parse_quantity(text, unit)
        except QuantityError as error:
            self.error(f"{what}: {error.message}", node.line, expected=error.expected, got=text)
            return None
        if not least <= number <= most:
            limits = f"at least {least:g}" if most == math.inf else f"from {least:g} to {most:g}"
            message = f"{what} is {text}, but it must be {limits} {'' if unit is Unit.SHARE else unit.value}".rstrip()
            self.error(message, node.line, expected=limits, got=text)
            return None
        return number

    def span(self, node: Node, what: str, unit: Unit) -> tuple[float, float] | None:
        """Return the two quantities of a range, the smaller first."""
        if not isinstance(node, Items) or len(node.items) != 2:
            self.error(f"{what} must be a range of two values, like `[least, most]`", node.line, expected="a range")
            return None
        low, high = (self.quantity(item, what, unit) for item in node.items)
        if low is None or high is None:
            return None
        if low > high:
            self.error(f"{what} runs from the larger to the smaller value; exchange them", node.line)
            return None
        return low, high
