"""The conditions of a black box: pins against volts, joined by and, or, not and parentheses.

    condition = term {"or" term}
    term      = factor {"and" factor}
    factor    = "not" factor | "(" condition ")" | PIN (">" | "<") VOLTS

They are parsed into comparisons and a truth function; nothing of a circuit file is ever run as code.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from seqsim.errors import QuantityError
from seqsim.parts.part import PartError, close
from seqsim.quantity import Unit, parse_quantity

DEEPEST = 50
"""Deepest nesting of parentheses and `not`: far beyond what a person writes."""
_TOKEN = re.compile(r"\s*([()<>]|[^\s()<>]+)")


@dataclass(frozen=True, slots=True)
class Above:
    """A comparison of a pin with volts."""

    pin: str
    volts: float

    @property
    def row(self) -> str:
        """Name of the rule row that decides it."""
        return f"{self.pin} above {self.volts:g} V"

    def holds(self, sides: Mapping[str, bool]) -> bool:
        """Return whether it holds for these sides."""
        return sides[self.row]

    def comparisons(self) -> tuple[Above, ...]:
        """Return the comparisons in it."""
        return (self,)


@dataclass(frozen=True, slots=True)
class Not:
    """The opposite of a condition."""

    of: Condition

    def holds(self, sides: Mapping[str, bool]) -> bool:
        """Return whether it holds for these sides."""
        return not self.of.holds(sides)

    def comparisons(self) -> tuple[Above, ...]:
        """Return the comparisons in it."""
        return self.of.comparisons()


@dataclass(frozen=True, slots=True)
class Joined:
    """Conditions joined by `and` or `or`."""

    word: Literal["and", "or"]
    of: tuple[Condition, ...]

    def holds(self, sides: Mapping[str, bool]) -> bool:
        """Return whether it holds for these sides."""
        held = (condition.holds(sides) for condition in self.of)
        return all(held) if self.word == "and" else any(held)

    def comparisons(self) -> tuple[Above, ...]:
        """Return the comparisons in it, each once."""
        return tuple(dict.fromkeys(above for condition in self.of for above in condition.comparisons()))


Condition = Above | Not | Joined


def parse_condition(text: str, pins: Collection[str], key: str) -> Condition:
    """Return the condition that a text states about some of the ``pins``; ``key`` of the file holds it.

    Raises
    ------
    PartError
        If the text is no condition, or names another pin.
    """
    parser = _Parser(text, pins, key)
    found = parser.either(0)
    parser.end()
    return found


class _Parser:
    def __init__(self, text: str, pins: Collection[str], key: str) -> None:
        self._text, self._pins, self._key = text, pins, key
        self._words: Iterator[str] = iter(_TOKEN.findall(text))
        self._word = next(self._words, "")

    def _take(self) -> str:
        taken, self._word = self._word, next(self._words, "")
        return taken

    def _wrong(self, what: str) -> PartError:
        return PartError(self._key, f"{self._key}: {what} in '{self._text}'; write it like 'A > 1.2V and not B > 0.8V'")

    def either(self, depth: int) -> Condition:
        """Read terms joined by `or`."""
        found = [self._both(depth)]
        while self._word == "or":
            self._take()
            found.append(self._both(depth))
        return found[0] if len(found) == 1 else Joined("or", tuple(found))

    def end(self) -> None:
        """Refuse what follows a whole condition."""
        if self._word:
            raise self._wrong(f"'{self._word}' follows a whole condition")

    def _both(self, depth: int) -> Condition:
        found = [self._factor(depth)]
        while self._word == "and":
            self._take()
            found.append(self._factor(depth))
        return found[0] if len(found) == 1 else Joined("and", tuple(found))

    def _factor(self, depth: int) -> Condition:
        if depth > DEEPEST:
            raise self._wrong("parentheses are nested too deeply")
        word = self._take()
        if word == "not":
            return Not(self._factor(depth + 1))
        if word == "(":
            found = self.either(depth + 1)
            if self._take() != ")":
                raise self._wrong("a closing parenthesis is missing")
            return found
        if word in ("", ")", "<", ">", "and", "or"):
            raise self._wrong(f"a pin is missing before '{word}'" if word else "a pin is missing at the end")
        if word not in self._pins:
            raise self._wrong(f"'{word}' is no pin of this part{close(word, self._pins)}")
        return self._comparison(word)

    def _comparison(self, pin: str) -> Condition:
        sign = self._take()
        if sign not in ("<", ">"):
            raise self._wrong(f"'>' or '<' is missing after {pin}")
        number = self._take()
        if self._word in ("V", "mV"):
            number += self._take()
        try:
            volts = parse_quantity(number, Unit.VOLT)
        except QuantityError:
            raise self._wrong(f"'{number}' is no voltage") from None
        above = Above(pin, volts)
        return above if sign == ">" else Not(above)
