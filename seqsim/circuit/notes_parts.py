"""The parts of notes: what several lines say of one part, put together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from seqsim.circuit.draft import Draft
from seqsim.circuit.names import suggest
from seqsim.circuit.notes_ends import primary
from seqsim.circuit.notes_facts import Absent, Contact, Extent, Fact, Named, PartNote, Target
from seqsim.circuit.notes_words import (
    DUAL_PINS,
    DUALS,
    LETTERS,
    PRIMARY,
    ROLE_LETTERS,
    ROLE_OF,
    WORDS,
    Guess,
    KindOption,
    letters_of,
    orders,
)
from seqsim.errors import QuantityError
from seqsim.parts import UNKNOWN
from seqsim.quantity import parse_quantity

BIPOLAR, MOSFETS = ("npn", "pnp"), ("nmos", "pmos")
_GATE_INPUTS = frozenset("ABCD")
ROLE = "@"
"""Begins a pin of a transistor that is known by what it does: `@control`, `@output`, `@common`."""


@dataclass
class NotedPart:
    """A part as its notes leave it: what it may be, its values, and its pins in the order of the notes.

    ``options`` are empty for what may be anything (a chip that is only mentioned).
    """

    name: str
    line: int
    options: tuple[KindOption, ...] = ()
    package: str | None = None
    package_sure: bool = True
    value: str | None = None
    doubt: bool = False
    values: dict[str, str] = field(default_factory=dict)
    pins: list[str] = field(default_factory=list)
    said: dict[str, Fact] = field(default_factory=dict)
    """the line that said each aspect"""

    @property
    def transistor(self) -> bool:
        """Tell whether it is, or may be, a transistor."""
        return any(option.kind in ROLE_LETTERS for option in self.options)

    def pin(self, pin: str) -> str:
        """Return the name under which a pin is kept: by what it does, where that is known."""
        if pin.startswith(ROLE):
            return pin
        if self.transistor and pin in ROLE_OF:
            return ROLE + ROLE_OF[pin]
        if self.transistor and pin in ("1", "2", "3") and (known := self.known_order()) is not None:
            return ROLE + known[int(pin) - 1]
        return pin

    def known_order(self) -> tuple[str, ...] | None:
        """Return what pins 1, 2 and 3 do, if there is no doubt about it."""
        if any(option.kind not in ROLE_LETTERS for option in self.options):
            return None
        found = {
            roles
            for option in self.options
            for _, roles, _ in orders(option.kind, self.package, sure=self.package_sure)
        }
        return next(iter(found)) if len(found) == 1 else None


def noted_parts(draft: Draft, facts: Sequence[Fact]) -> dict[str, NotedPart]:
    """Return the parts that notes describe or mention, in the order of the lines."""
    parts: dict[str, NotedPart] = {}
    for fact in facts:
        if isinstance(fact, PartNote):
            _join(draft, parts.setdefault(fact.name, NotedPart(fact.name, fact.line)), fact)
    for fact in facts:
        for end in ends_of(fact):
            name, dot, pin = end.partition(".")
            if not dot:
                continue
            if name not in parts:
                if letters_of(name) is None:
                    message = f"there is no part {name}{suggest(name, parts)}; describe it, like {name} npn? 1=R12.2"
                    draft.error(message, fact.line, place=name, got=name)
                    continue
                guess = LETTERS[letters_of(name) or ""]
                parts[name] = NotedPart(name, fact.line, () if guess is None else guess.options)
            parts[name].said.setdefault(f"pin {pin}", fact)
            if pin not in parts[name].pins:
                parts[name].pins.append(pin)
    for part in parts.values():
        _narrow(part)
    return parts


def ends_of(fact: Fact) -> tuple[str, ...]:
    """Return the ends that a fact names, pins of its own part first."""
    match fact:
        case PartNote():
            return tuple(end for pin, other in fact.pins.items() for end in (f"{fact.name}.{pin}", other))
        case Contact():
            return (*fact.near, *fact.far)
        case Absent():
            return (fact.one, fact.other)
        case Named() | Target() | Extent():
            return (fact.end,)
    return ()


def clash(draft: Draft, later: Fact, earlier: Fact, what: str, mend: str, place: str | None = None) -> None:
    """Note that two lines contradict each other, with the words of both."""
    draft.error(
        f"'{later.text}' contradicts line {earlier.line}, '{earlier.text}': {what}; {mend}", later.line, place=place
    )


def _join(draft: Draft, part: NotedPart, note: PartNote) -> None:
    """Put a further line about a part to what is known of it."""
    if note.guess is not None:
        _join_kind(draft, part, note, note.guess)
    if note.package is not None:
        before = part.said.get("package")
        if before is not None and part.package_sure and note.package_sure and part.package != note.package:
            clash(draft, note, before, f"{part.name} has one package", "keep one", part.name)
        part.package, part.package_sure = note.package, note.package_sure
        part.said["package"] = note
    if note.value is not None:
        before = part.said.get("value")
        both_sure = part.value not in (None, UNKNOWN) and note.value != UNKNOWN and not (part.doubt or note.doubt)
        if before is not None and both_sure and not _same(part, part.value or "", note.value):
            mend = f"keep one, or write {part.name} ? if you doubt both"
            clash(draft, note, before, f"{part.name} is {part.value} or {note.value}", mend, part.name)
        if part.value in (None, UNKNOWN) or note.value != UNKNOWN:
            part.value, part.doubt = note.value, note.doubt
            part.said["value"] = note
    for key, text in note.values.items():
        before = part.said.get(key)
        if before is not None and part.values[key] != text:
            clash(draft, note, before, f"{key} of {part.name} is {part.values[key]} or {text}", "keep one", part.name)
        part.values[key] = text
        part.said[key] = note
    for pin in note.pins:
        if pin not in part.pins:
            part.pins.append(pin)


def _join_kind(draft: Draft, part: NotedPart, note: PartNote, guess: Guess) -> None:
    bare_name = note.guess is LETTERS.get(letters_of(part.name) or "")
    before = part.said.get("kind")
    if before is None or not part.options:
        part.options = guess.options
        if not bare_name:
            part.said["kind"] = note
        return
    if bare_name:
        return
    sure_before = len(part.options) == 1
    if sure_before and guess.sure and part.options[0].kind != guess.options[0].kind:
        what = f"{part.name} is {part.options[0].label} or {guess.options[0].label}"
        clash(draft, note, before, what, f"keep one, or write {part.name} ? if you doubt both", part.name)
        return
    if not sure_before or guess.sure:
        part.options = guess.options
        part.said["kind"] = note


def _same(part: NotedPart, one: str, other: str) -> bool:
    kind = part.options[0].kind if part.options else ""
    if kind in PRIMARY:
        try:
            unit = PRIMARY[kind][1]
            return abs(parse_quantity(one, unit) / parse_quantity(other, unit) - 1) < 1e-9
        except (QuantityError, ZeroDivisionError):
            return one == other
    return one == other


def _narrow(part: NotedPart) -> None:
    """Leave out what the letters of the pins exclude, and let pins say what an unknown chip may be."""
    pins = {pin for pin in part.pins if not pin.isdecimal() and not pin.startswith(ROLE)}
    if not part.options and "Y" in pins and pins <= {"Y", "VCC", "GND", *_GATE_INPUTS}:
        inputs = pins & _GATE_INPUTS
        kinds = WORDS["gate"].options if len(inputs) > 1 else (KindOption("buffer", 0.5), KindOption("not", 0.5))
        part.options = kinds
    if len(part.options) > 1 and part.transistor:
        letters = pins & ROLE_OF.keys()
        wanted: Iterable[str] = ()
        if letters & {"B", "E"}:
            wanted = BIPOLAR
        elif letters & {"G", "D", "S"}:
            wanted = MOSFETS
        elif pins & {"A", "K", "K1", "K2", "A1", "A2"}:
            wanted = ("diode",)
        if any(pin.startswith(ROLE) for pin in part.pins):
            wanted = wanted or (*BIPOLAR, *MOSFETS)
        kept = tuple(option for option in part.options if option.kind in wanted) if wanted else part.options
        if kept:
            total = sum(option.prior for option in kept)
            part.options = tuple(KindOption(o.kind, o.prior / total, o.values) for o in kept)
    three = {"1", "2", "3"} <= set(part.pins) or len(part.pins) >= 3
    if len(part.options) == 1 and part.options[0].kind == "diode" and three and "dual" not in part.values:
        fixed = part.options[0].values
        total = sum(option.prior for option in DUALS)
        part.options = tuple(KindOption("diode", o.prior / total, {**fixed, **o.values}) for o in DUALS)


def pin_maps(part: NotedPart, option: KindOption) -> tuple[tuple[str, Mapping[str, str], float], ...]:
    """Return the ways in which the pins of a part may be those of a kind: package, pin as kept to letter, prior."""
    numbered = [pin for pin in part.pins if pin.isdecimal()]
    if option.kind in ROLE_LETTERS:
        letters = ROLE_LETTERS[option.kind]
        fixed = {ROLE + role: letter for role, letter in letters.items()}
        if not numbered or part.known_order() is not None:
            return (("", fixed, 1.0),)
        return tuple(
            (package, fixed | {str(k): letters[role] for k, role in enumerate(roles, start=1)}, prior)
            for package, roles, prior in orders(option.kind, part.package, sure=part.package_sure)
        )
    if option.kind == "diode" and numbered:
        dual = part.values.get("dual") or option.values.get("dual")
        if dual in DUAL_PINS:
            return (("sot23", {str(k): pin for k, pin in enumerate(DUAL_PINS[dual], start=1)}, 1.0),)
        if dual is None:
            return (
                ("cathode at 1", {"1": "K", "2": "A"}, 0.5),
                ("cathode at 2", {"1": "A", "2": "K"}, 0.5),
            )
    return (("", {}, 1.0),)


def lone_value(part: NotedPart, option: KindOption) -> dict[str, str]:
    """Return the value that stands by itself in the lines, under the key of a kind."""
    if part.value is None:
        key = PRIMARY.get(option.kind, ("", None))[0]
        wanted = option.kind in ("resistor", "load") or (
            option.kind == "diode" and option.values.get("type") == "zener"
        )
        return {key: UNKNOWN} if wanted and key not in part.values and "amps" not in part.values else {}
    key = primary(option.kind, part.value) or ""
    return {key: part.value} if key else {}
