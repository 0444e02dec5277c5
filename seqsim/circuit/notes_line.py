"""One line of notes as facts: forgiving in form, never a silent guess."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence

from seqsim.circuit.names import suggest
from seqsim.circuit.notes_ends import end_of, net_name, supply_value, volts_of
from seqsim.circuit.notes_facts import (
    Absent,
    Contact,
    Extent,
    Fact,
    Ground,
    Named,
    RailNote,
    Read,
    StateNote,
    Supplied,
    Target,
    Words,
)
from seqsim.circuit.notes_part_line import FILLERS, PartLine
from seqsim.circuit.notes_words import WORDS, is_ground, kind_word, letters_of
from seqsim.errors import CircuitError
from seqsim.network import GROUND
from seqsim.parts import UNKNOWN, Supply

FORMS = (
    "R12 10k 1=V5, Q7 npn? 1=R12.2 2=gnd 3=EN, R12.2 = Q7.1, R12.2 not Q7.1, EN goes U4.5, V5 5.02, target EN or "
    "Q3 inverts EN from G7, pull-up R9 to V5"
)
_SWITCH_WORDS = ("closed", "open", "on", "off", "fitted", "removed", "pressed", "released")
_LEVEL_WORDS = frozenset({"high", "low", "up", "down", "on", "off", "dead", "there", "missing", "open", "floating"})
"""What is said of the level of a net, and is not its name."""
_PIN_WORD = re.compile(r"\b([A-Za-z]+\d+[A-Za-z]?)[\s,]+(?:pin|leg)\s+([A-Za-z0-9]+)(?![\w.])", re.IGNORECASE)
_UNIT = re.compile(r"(?<![\w.])(\d[\d.]*[pnumkMG]?) (ohms?|Ω|volts?|V|amps?|m?A|%|m?s)(?![\w=.])")
_COMMENT = re.compile(r"(?:^|\s)#(?:\s.*)?$")
_ABSENT = re.compile(r"\s+(?:!=|<>|not(?:\s+to)?|no(?:\s+contact)?(?:\s+to)?|x)\s+", re.IGNORECASE)
_VIA = re.compile(r"\s+(?:via|through)\s+(\S+)\s*$", re.IGNORECASE)
_SUPPLY_KEYS = frozenset(Supply.model_fields) - {"name", "unknown"}


def parse_line(text: str, line: int = 1) -> tuple[Fact, ...]:
    """Return the facts of a line; none for a comment.

    Raises
    ------
    CircuitError
        If it is not understood; the sentence shows what could be meant.
    """
    body = _COMMENT.sub("", " ".join(text.split())).strip().rstrip(".;")
    if not body:
        return ()
    if any(not sign.isprintable() for sign in body) or len(body) > 500:
        raise CircuitError("this is no line of notes; write one fact a line, like R12 10k 1=V5", got=ascii(body[:30]))
    body = _UNIT.sub(r"\1\2", _PIN_WORD.sub(r"\1.\2", body))
    return tuple(_Line(body, line).facts())


class _Line:
    """One line while it is read."""

    def __init__(self, body: str, line: int) -> None:
        self.body = body
        self.line = line
        self.words = body.split()

    def facts(self) -> Iterator[Fact]:
        first = self.words[0].casefold().rstrip(":")
        by_keyword: dict[str, Callable[[], Iterator[Fact]]] = {
            "title": lambda: self._about("title"), "about": lambda: self._about("about"), "target": self._target,
            "ground": self._ground, "state": self._state, "rail": self._rail, "read": self._read,
            "supply": self._supply_word,
        }  # fmt: skip
        if first in by_keyword and len(self.words) > 1 and self.words[1] != "=":
            yield from by_keyword[first]()
            return
        stage = tuple(PartLine(self.body, self.line).stage())
        if stage:
            yield from stage
        elif len(pieces := _ABSENT.split(self.body)) == 2 and "=" not in pieces[0]:
            yield self._absent(pieces)
        elif re.match(r"\S+\s*=|\S+\.\S+\s[^=]*=", self.body) and "==" not in self.body:
            yield self._contact()
        else:
            yield from self._by_second_word()

    def _by_second_word(self) -> Iterator[Fact]:
        name, rest = self.words[0].rstrip(":,"), self.words[1:]
        second = rest[0].casefold() if rest else ""
        if second in ("goes", "go", "leads"):
            yield from self._goes(name, [word for word in rest[1:] if word.casefold() not in ("to", "on")])
        elif second in ("done", "ends", "complete", "closed") and len(rest) == 1 and not self._is_part(name):
            yield Extent(self.line, self.body, end_of(name), goes_on=False)
        elif second in ("is", "called") and len(rest) > 1 and not self._is_part(name):
            yield self._is(name, [word for word in rest[1:] if word.casefold() not in ("the", "a", "called")])
        elif second == "should" and len(rest) > 1:
            yield self._rail_of(name, [word for word in rest[1:] if word.casefold() not in ("be", "read", "reach")])
        elif "." in name and letters_of(name.partition(".")[0]) is not None:
            yield from self._pin_line(name, rest)
        elif self._is_part(name):
            yield from PartLine(self.body, self.line).part(name, rest)
        elif rest:
            yield self._supply(name, rest)
        else:
            raise self._wrong(f"'{self.body}' says nothing yet")

    def _is_part(self, name: str) -> bool:
        """Tell whether the line is about a part: by its designator, or by the kind that follows."""
        if "." in name:
            return False
        if letters_of(name) is not None:
            return True
        words = [word for word in self.words[1:] if word.casefold() not in FILLERS]
        return bool(words) and kind_word(words[0].rstrip("?,")) is not None

    def _wrong(self, problem: str, **about: str) -> CircuitError:
        return CircuitError(f"{problem}; write a fact like {FORMS}", **about)  # type: ignore[arg-type]

    # ---- lines that begin with a word of their own

    def _about(self, key: str) -> Iterator[Fact]:
        yield Words(self.line, self.body, key, " ".join(self.words[1:]))

    def _target(self) -> Iterator[Fact]:
        words = [word for word in self.words[1:] if word.casefold() not in ("is", "=", "the")]
        if len(words) != 1:
            raise CircuitError("the target is one net or pin; write it like target EN", got=self.body)
        yield Target(self.line, self.body, end_of(words[0]))

    def _ground(self) -> Iterator[Fact]:
        for word in self.words[1:]:
            if word.casefold() not in ("is", "=", "and"):
                yield Ground(self.line, self.body, net_name(word.strip(",")))

    def _read(self) -> Iterator[Fact]:
        yield Read(self.line, self.body, " ".join(self.words[1:]))

    def _state(self) -> Iterator[Fact]:
        name = self.words[1].rstrip(":,")
        words = [word.strip(",") for word in self.words[2:] if word.strip(",:") and word.casefold() not in FILLERS]
        on: list[str] = []
        switches: dict[str, str] = {}
        times: dict[str, str] = {}
        k = 0
        while k < len(words):
            word, after = words[k], words[k + 1].casefold() if k + 1 < len(words) else ""
            if word.casefold() in ("after", "ramp") and after:
                times[word.casefold()] = words[k + 1]
                k += 2
            elif after in _SWITCH_WORDS:
                switches[word.upper()] = after
                k += 2
            else:
                if word.casefold() not in ("on", ":"):
                    on.append(word)
                k += 1
        yield StateNote(self.line, self.body, name, tuple(on), switches, times)

    def _rail(self) -> Iterator[Fact]:
        yield self._rail_of(self.words[1], self.words[2:])

    def _rail_of(self, name: str, words: Sequence[str]) -> RailNote:
        words = [word for word in words if word.casefold() not in ("within", ",", "v", "volts")]
        if not 1 <= len(words) <= 2:
            message = "a rail is a net and what it should reach; write it like rail V5 5"
            raise CircuitError(message, got=self.body)
        return RailNote(self.line, self.body, net_name(name), words[0], words[1] if len(words) > 1 else None)

    def _supply_word(self) -> Iterator[Fact]:
        yield self._supply(self.words[1], self.words[2:])

    # ---- contacts

    def _contact(self) -> Contact:
        body, via = self._without_via(self.body)
        sides = [[end_of(word) for word in side.replace(",", " ").split()] for side in body.split("=")]
        if len(sides) < 2 or not all(sides):
            raise self._wrong(f"'{self.body}' names one end only")
        near, *others = sides
        return Contact(self.line, self.body, tuple(near), tuple(end for side in others for end in side), via)

    def _absent(self, pieces: Sequence[str]) -> Absent:
        other, via = self._without_via(pieces[1])
        ends = [*pieces[0].split(), *other.split()]
        if len(ends) != 2:
            raise CircuitError("a contact that is absent has two ends; write it like R12.2 not Q7.1", got=self.body)
        return Absent(self.line, self.body, end_of(ends[0]), end_of(ends[1]), via)

    @staticmethod
    def _without_via(text: str) -> tuple[str, str | None]:
        found = _VIA.search(text)
        return (text, None) if found is None else (text[: found.start()], found[1])

    def _goes(self, name: str, rest: Sequence[str]) -> Iterator[Fact]:
        end = end_of(name)
        text, via = self._without_via(" " + " ".join(rest))
        rest = text.split()
        words = [word.strip(",") for word in rest if word.casefold() not in ("and", ",", "somewhere")]
        if not words or words == [UNKNOWN]:
            yield Extent(self.line, self.body, end, goes_on=True)
        else:
            yield Contact(self.line, self.body, (end,), tuple(end_of(word) for word in words), via, beeped=False)

    def _is(self, name: str, words: Sequence[str]) -> Fact:
        end = end_of(name)
        word = " ".join(words)
        if word.casefold() == "target":
            return Target(self.line, self.body, end)
        if is_ground(word):
            return Contact(self.line, self.body, (end,), (GROUND,))
        if word.casefold() in ("done", "complete"):
            return Extent(self.line, self.body, end, goes_on=False)
        if "." not in name and name != end:
            raise CircuitError(f"'{name}' is no net or pin", got=name)
        if len(words) != 1:
            raise self._wrong(f"'{self.body}' is not understood")
        if "." not in end and (volts_of(word) is not None or word == UNKNOWN or word.casefold() in _LEVEL_WORDS):
            return self._supply(name, words)
        return Named(self.line, self.body, end, net_name(words[0]))

    def _pin_line(self, name: str, rest: Sequence[str]) -> Iterator[Fact]:
        words = [word for word in rest if word.casefold() not in ("to", "on", "at", "beeps", "beep")]
        if len(words) != 1 or volts_of(words[0]) is not None:
            reading = " ".join(self.words)
            message = f"'{self.body}' is no fact of the drawing; a contact is written {name} = Q7.1"
            if words and volts_of(words[0]) is not None:
                message = f"{name} is a pin, so this is a reading; write it as: read {reading}"
            raise CircuitError(message, got=self.body)
        yield Contact(self.line, self.body, (end_of(name),), (end_of(words[0]),))

    # ---- supplies

    def _supply(self, name: str, words: Sequence[str]) -> Supplied:
        values: dict[str, str] = {}
        plain = [word.strip(",") for word in words if word.casefold().strip(",") not in FILLERS]
        k = 0
        while k < len(plain):
            word = plain[k]
            key, equals, text = word.partition("=")
            if equals and key.casefold() in _SUPPLY_KEYS:
                values[key.casefold()] = text
            elif word.casefold() in ("on", "idle", "net") and k + 1 < len(plain):
                key = "net" if word.casefold() == "on" else word.casefold()
                values[key] = plain[k + 1].casefold() if key == "idle" else plain[k + 1]
                k += 1
            elif (found := supply_value(word, bare="ohms" if "volts" in values else "volts")) is not None:
                values[found] = word.rstrip("?") if word != UNKNOWN else word
            elif word.casefold() not in ("v", "volts", "supply", "seen", "reads"):
                raise self._unknown_line(name, word)
            k += 1
        if "volts" not in values:
            raise CircuitError(f"how many volts is {name}? write it like {name} 5.02, or {name} ?", place=name)
        return Supplied(self.line, self.body, net_name(name), values)

    def _unknown_line(self, name: str, word: str) -> CircuitError:
        hint = suggest(word.rstrip("?"), WORDS) if letters_of(name) or len(self.words) > 2 else ""
        if hint.startswith("; did"):
            return CircuitError(f"'{word}' is no kind of part{hint}", place=name, got=word)
        return self._wrong(f"'{self.body}' is not understood ('{word}' is no volts, kind or contact)", got=word)
