"""Lines of notes about parts, and stages in one line."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from seqsim.circuit.names import suggest
from seqsim.circuit.notes_ends import end_of, pin_name
from seqsim.circuit.notes_facts import Contact, Fact, PartNote
from seqsim.circuit.notes_words import (
    DUAL_WORDS,
    LETTERS,
    PACKAGES,
    TYPE_WORDS,
    WORDS,
    Guess,
    KindOption,
    bare,
    doubtful,
    kind_word,
    letters_of,
)
from seqsim.errors import CircuitError
from seqsim.network import GROUND
from seqsim.parts import KINDS, UNKNOWN

FILLERS = frozenset({"is", "a", "an", "the", "and", "with", "probably", "maybe", "looks", "like"})
_STAGE = re.compile(
    r"(?P<part>\S+)\s+(?:(?P<kind>\S+)\s+)?(?P<verb>inverts|follows|switches)\s+(?P<out>\S+)\s+from\s+(?P<source>[^\s,]+)"
    r"(?:\s+by\s+(?P<by>[^\s,]+))?(?P<tail>.*)",
    re.IGNORECASE,
)
_LEG = re.compile(
    r"(?:(?P<through>through|via)|(?P<way>pull-?\s?(?:up|down)))\s+(?P<part>\S+)(?:\s+(?P<value>[\d.]\S*|\?))?"
    r"(?:\s+(?:to|from)\s+(?P<to>\S+))?(?:\s+(?:at|on)\s+(?P<at>\S+))?",
    re.IGNORECASE,
)
_BETWEEN = re.compile(r"\b(?:from|between)\s+([^\s=,]+)\s+(?:to|and)\s+([^\s=,]+)\s*$", re.IGNORECASE)
TWO_LEGS = frozenset({"R", "C", "L", "FB", "F", "SW", "JP", "LD", "BL"})
"""Letters of parts whose two legs are alike, so that `from V5 to EN` says all."""
_VALUE_KEYS = frozenset(
    key for cls in KINDS.values() for key in cls.model_fields if key not in ("kind", "name", "pins", "unknown")
)


class PartLine:
    """A line about a part while it is read."""

    def __init__(self, body: str, line: int) -> None:
        self.body = body
        self.line = line

    def part(self, given: str, rest: Sequence[str]) -> Iterator[Fact]:
        """Yield the fact of a line that begins with a part: kind, package, value and pins in any order."""
        name = given.upper()
        text = re.sub(r"\s*=\s*", "=", " ".join(rest))
        guess: Guess | None = None
        package, package_sure = None, True
        value, doubt = None, False
        values: dict[str, str] = {}
        pins: dict[str, str] = {}
        unknown = False
        between = _BETWEEN.search(text) if letters_of(name) in TWO_LEGS else None
        if between is not None:
            pins = {"1": end_of(between[1]), "2": end_of(between[2])}
            text = text[: between.start()]
        for word in (word.strip(",;") for word in text.split()):
            if not word or word.casefold() in FILLERS:
                continue
            key, equals, end = word.partition("=")
            stem, asked = word.rstrip("?"), word.endswith("?")
            if equals:
                self._keyed(name, key, end, values, pins)
            elif word == UNKNOWN:
                unknown = True
            elif bare(stem) in PACKAGES:
                package, package_sure = bare(stem), not asked
            elif bare(stem) in TYPE_WORDS:
                values[TYPE_WORDS[bare(stem)]] = {"opendrain": "open-drain", "pushpull": "push-pull"}.get(
                    bare(stem), bare(stem)
                )
            elif bare(stem) in DUAL_WORDS and (guess is None or guess.options[0].kind == "diode"):
                values["dual"] = DUAL_WORDS[bare(stem)]
            elif (found := kind_word(stem)) is not None:
                found = doubtful(found) if asked else found
                guess = found if guess is None else _joined(guess, found)
            elif stem.endswith("%"):
                values["tolerance"] = stem
            elif re.match(r"[\d.]", stem):
                value, doubt = stem, asked
            elif re.fullmatch(r"[VARΩVkKmMunp]|ohms?|volts?|amps?", stem) and value is not None:
                value += stem
            else:
                raise self._unknown_word(name, word)
        if "dual" in values and guess is None:
            guess = Guess((KindOption("diode", 1.0, {}),))
        letters = letters_of(name)
        if unknown and value is None and (guess is not None or letters in ("R", "C", "L", "F", "FB")):
            value = UNKNOWN  # of a thing whose kind is known, the value is what is not
        if guess is None and letters is not None:
            guess = LETTERS[letters]
        yield PartNote(
            self.line, self.body, name, guess, package, package_sure, value, doubt, values,
            {pin: end for pin, end in pins.items() if end != UNKNOWN},
        )  # fmt: skip

    def _keyed(self, name: str, key: str, end: str, values: dict[str, str], pins: dict[str, str]) -> None:
        if not end or not key:
            raise CircuitError(f"'{key}={end}' of {name} is half written; write it like 1=R12.2", place=name)
        is_value = key in _VALUE_KEYS and (key.islower() and len(key) > 2)
        if is_value:
            values[key] = end
            return
        pin = pin_name(key)
        if pin in pins:
            raise CircuitError(f"pin {pin} of {name} stands twice in one line; leave one", place=f"{name}.{pin}")
        pins[pin] = UNKNOWN if end == UNKNOWN else end_of(end)

    def _unknown_word(self, name: str, word: str) -> CircuitError:
        hint = suggest(word.rstrip("?").casefold(), (*WORDS, *PACKAGES))
        if not hint.startswith("; did"):
            hint = f"; write kind, value and pins, like {name} npn? 1=R12.2 2=gnd 3=EN"
        return CircuitError(f"'{word}' says nothing known of {name}{hint}", place=name, got=word)

    def stage(self) -> Iterator[Fact]:
        """Yield the facts of a stage in one line; none if it is no such line."""
        found = _STAGE.fullmatch(self.body)
        if found is None:
            return
        name, verb = found["part"].upper(), found["verb"].casefold()
        out, source = end_of(found["out"]), end_of(found["source"])
        legs = [
            _LEG.fullmatch(piece.strip()) for piece in re.split(r",|\band\b|\bwith\b", found["tail"]) if piece.strip()
        ]
        if None in legs:
            message = f"'{found['tail'].strip(' ,')}' of this stage is not understood; write it like pull-up R9 to V5"
            raise CircuitError(message, got=self.body)
        chip = letters_of(name) in ("U", "IC")
        if verb != "switches" and found["by"] is not None:
            message = f"'{verb}' needs no 'by'; write it like {name} inverts EN from G7"
            raise CircuitError(message, got=self.body)
        if verb == "switches" and found["by"] is None:
            message = f"what controls {name}? write it like {name} switches VOUT from V5 by GATE"
            raise CircuitError(message, got=self.body)
        guess = None if found["kind"] is None else kind_word(found["kind"].rstrip("?"))
        if found["kind"] is not None and guess is None:
            raise self._unknown_word(name, found["kind"])
        if guess is not None and found["kind"].endswith("?"):
            guess = doubtful(guess)
        steering = found["by"] if verb == "switches" else None
        steering = source if steering is None else end_of(steering)
        control, ground = ("A", None) if chip else ("control", GROUND if verb == "inverts" else source)
        yield from self._legs(name, control, out, steering, [leg for leg in legs if leg is not None])
        if chip:
            if verb == "switches":
                message = f"a chip that switches is a part with pins; write it like {name} load_switch IN={source}"
                raise CircuitError(message, got=self.body)
            kind = guess or Guess((KindOption("not" if verb == "inverts" else "buffer", 1.0),))
            yield PartNote(self.line, self.body, name, kind, pins={"Y": out})
            return
        if verb == "follows":
            raise CircuitError(f"what does {name} follow with? name its pins, like {name} npn B={source} E={out}")
        low = (KindOption("npn", 0.55), KindOption("nmos", 0.45))
        high = (KindOption("pmos", 0.75), KindOption("pnp", 0.25))
        common = ground or GROUND
        yield PartNote(
            self.line, self.body, name, guess or Guess(low if verb == "inverts" else high),
            pins={"@output": out, "@common": common},
        )  # fmt: skip

    def _legs(self, name: str, control: str, out: str, steering: str, legs: Sequence[re.Match[str]]) -> Iterator[Fact]:
        pin = control if control == "A" else "@control"
        through = [leg for leg in legs if leg["through"]]
        if not through:
            yield Contact(self.line, self.body, (f"{name}.{pin}",), (steering,))
        for leg in through[:1]:
            yield self._leg(leg, steering, f"{name}.{pin}")
        for leg in legs:
            if leg["through"]:
                continue
            down = leg["way"].casefold().endswith("down")
            at = out
            if leg["at"] is not None:
                at = f"{name}.{pin}" if leg["at"].casefold() in ("base", "gate", "input") else end_of(leg["at"])
            if leg["to"] is None and not down:
                message = f"where does the pull-up {leg['part']} go? write it like pull-up {leg['part']} to V5"
                raise CircuitError(message, place=leg["part"])
            yield self._leg(leg, GROUND if leg["to"] is None else end_of(leg["to"]), at)

    def _leg(self, leg: re.Match[str], one: str, other: str) -> PartNote:
        name, value = leg["part"].upper(), leg["value"]
        if letters_of(name) != "R":
            raise CircuitError(f"'{leg['part']}' is no resistor; write it like through R8", place=leg["part"])
        return PartNote(
            self.line, self.body, name, LETTERS["R"], value=value and (value.rstrip("?") or UNKNOWN),
            doubt=bool(value and value != UNKNOWN and value.endswith("?")), pins={"1": one, "2": other},
        )  # fmt: skip


def _joined(one: Guess, other: Guess) -> Guess:
    """Return what two words say together: `zener diode`."""
    if one.sure and other.sure and one.options[0].kind == other.options[0].kind:
        values = {**one.options[0].values, **other.options[0].values}
        return Guess((KindOption(one.options[0].kind, 1.0, values),))
    return one if len(one.options) < len(other.options) else other
