"""Bench shorthand: ``EN_BLOWER 0.02``, ``R1.2 to Q1.B beep``, ``V3V3 diode 0.41 @off``, in and out."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from seqsim.circuit import Circuit
from seqsim.circuit.names import close, suggest
from seqsim.errors import QuantityError, ReadingError, UnknownPlaceError
from seqsim.quantity import Unit, parse_quantity
from seqsim.readings.interventions import parse_intervention, split_interventions
from seqsim.readings.kinds import KINDS, Kind, Site
from seqsim.readings.meter import METER, Meter
from seqsim.readings.places import copper_at, match, tip
from seqsim.readings.possible import check_done, check_supply, state_of
from seqsim.readings.ratio import format_ratio, parse_ratio
from seqsim.readings.reading import Reading

FORMS = (
    "EN 0.02, V5 9k2 ohm, V3V3 diode 0.41, R1.2 to Q1.B beep, VIA3 OL, VBAT 0.35A, EN about 2, EN 0.1..0.3, "
    "EN 0.4x of good or EN high"
)
MOST_CHARACTERS = 500

_ABOUT = ("about", "approx", "~", "≈", "ca")
_OVERLOAD = re.compile(r"\b(?:0l|o\.l\.?|0\.l\.?|overload|overlimit)(?=\s|$)")
_PLAIN = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_MANTISSA = re.compile(r"[+-]?(?:\d+[pnuµμmkKMGRrVΩ]\d+|\d+\.?\d*|\.\d+)")
_NOTE = re.compile(r"(?:^|\s)#(?:\s+(.*))?$")


@dataclass(frozen=True, slots=True)
class Fields:
    """The pieces of a reading as they were written; an empty piece was not."""

    place: str
    to: str = ""
    kind: str = ""
    value: str = ""
    state: str = ""
    interventions: tuple[str, ...] = ()
    note: str = ""
    text: str = ""
    file: str | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class _Value:
    kind: Kind
    value: float | tuple[float, float] | str
    about: bool = False
    resolution: float | None = None
    of_good: bool = False


def parse_reading(
    circuit: Circuit, text: str, meter: Meter = METER, *, file: str | None = None, line: int | None = None
) -> Reading:
    """Return the reading that a line of shorthand describes.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If something in it is not understood; the message names it and shows a correct form.
    """
    return build_reading(circuit, split_shorthand(text, file=file, line=line), meter)


def split_shorthand(text: str, *, file: str | None = None, line: int | None = None) -> Fields:
    """Split ``PLACE [to PLACE] [kind] value [@state] [with ... [and ...]] [# note]`` into its pieces."""
    if len(text) > MOST_CHARACTERS or not all(sign.isprintable() or sign.isspace() for sign in text):
        shown = ascii(text[:30])[1:-1]
        raise ReadingError(f"'{shown}...' is no line of shorthand; write a reading like EN 0.02", file=file, line=line)
    text = " ".join(text.split())
    body, note = text, ""
    found = _NOTE.search(text)
    if found:
        body, note = text[: found.start()], " ".join((found[1] or "").split())
    words = [word for word in body.replace("@", " @ ").split() if word != "="]
    state = ""
    while "@" in words:
        at = words.index("@")
        if at + 1 >= len(words) or state:
            what = "two power states are given" if state else "no power state follows the @"
            raise ReadingError(f"{what} in '{text}'; write one, like EN 0.02 @running", file=file, line=line)
        state = words[at + 1]
        del words[at : at + 2]
    lowered = [word.casefold() for word in words]
    done: tuple[str, ...] = ()
    if "with" in lowered:
        at = lowered.index("with")
        done = tuple(split_interventions(" ".join(words[at + 1 :])))
        if not done:
            message = f"nothing follows 'with' in '{text}'; write what was done, like EN 0.02 with R12 lifted"
            raise ReadingError(message, file=file, line=line)
        words, lowered = words[:at], lowered[:at]
    if not words:
        message = f"'{text}' names no place; write place and value, like EN 0.02"
        raise ReadingError(message, file=file, line=line)
    place, to, rest = words[0].removesuffix(":"), "", words[1:]
    if lowered[1:2] == ["to"]:
        if len(words) < 3:
            message = f"'{text}' names no second place; write it like R1.2 to Q1.B beep"
            raise ReadingError(message, file=file, line=line)
        to, rest = words[2].removesuffix(":"), words[3:]
    return Fields(
        place=place, to=to, value=" ".join(rest), state=state, interventions=done, note=note, text=text,
        file=file, line=line,
    )  # fmt: skip


def build_reading(circuit: Circuit, fields: Fields, meter: Meter = METER) -> Reading:
    """Return the reading whose pieces are given; errors carry the file, the line and a correct form."""
    try:
        return _build(circuit, fields, meter)
    except UnknownPlaceError as error:
        raise UnknownPlaceError(
            in_reading(error.message, fields), file=fields.file, line=fields.line, place=error.place
        ) from None
    except ReadingError as error:
        hint = f"; write it like {error.expected}" if error.expected and error.message[-1] != "?" else ""
        raise ReadingError(
            in_reading(error.message + hint, fields), file=fields.file, line=fields.line, place=error.place,
            expected=error.expected, got=fields.text,
        ) from None  # fmt: skip


def in_reading(message: str, fields: Fields) -> str:
    """Name the reading in which something is wrong."""
    shown = fields.text or f"{fields.place} {fields.value}".strip()
    return f"reading '{shown}': {message}"


def _build(circuit: Circuit, fields: Fields, meter: Meter) -> Reading:
    if not fields.place:
        raise ReadingError("no place is named", expected="EN 0.02")
    copper = None if fields.to else copper_at(circuit, fields.place)
    if fields.to and not fields.value:
        tip(circuit, fields.to)  # `EN to 0.02` lacks its second place, not its value
    read = _value(fields, meter, copper)
    place, to = _places(circuit, fields, read, copper)
    state = state_of(circuit, fields.state, read.kind, read.value)
    interventions = tuple(parse_intervention(circuit, phrase) for phrase in fields.interventions)
    check_done(read.kind, (place, to), interventions)
    if read.kind.site is Site.SUPPLY:
        check_supply(circuit, place, state, None if read.of_good else read.value, interventions)
    return Reading(
        kind=read.kind.name, place=place, to=to, state=state, interventions=interventions, value=read.value,
        about=read.about, of_good=read.of_good, resolution=read.resolution, note=fields.note, text=fields.text,
        file=fields.file, line=fields.line,
    )  # fmt: skip


def _kind(text: str) -> Kind:
    for kind in KINDS.values():
        if text.casefold() in (kind.name, *(word.casefold() for word in kind.words)):
            return kind
    names = [*KINDS, *(word for kind in KINDS.values() for word in kind.words)]
    raise ReadingError(f"'{text}' is no kind of reading{suggest(text, names)}", expected="ohms")


def _value(fields: Fields, meter: Meter, copper: str | None) -> _Value:
    """Read the kind and the value from the words after the place."""
    example = f"{fields.place} to {fields.to}" if fields.to else fields.place
    kind = _kind(fields.kind) if fields.kind else None
    words = fields.value.split()
    if not words:
        shown = (copper and "beep") or (kind.example if kind else "0.02")
        raise ReadingError(f"'{example}' has no value", expected=f"{example} {shown}")
    left: list[str] = []
    about = False
    by_word = {word.casefold(): each for each in KINDS.values() for word in each.words}
    for word in words:
        lowered = word.casefold()
        if lowered in by_word:
            if kind is not None and by_word[lowered] is not kind:
                message = f"'{word}' contradicts that this is a reading of {kind.name}"
                raise ReadingError(message, expected=f"{example} {kind.example}")
            kind = by_word[lowered]
        elif lowered in _ABOUT:
            about = True
        elif lowered[:1] in "~≈":
            about = True
            left.append(word[1:])
        else:
            left.append(word)
    text = " ".join(left)
    if not text:
        shown = kind.example if kind else "about 2"
        raise ReadingError(f"'{fields.value}' is no value", expected=f"{example} {shown}")
    named = _word(text, kind, copper, example)
    if named is not None:
        if about:
            raise ReadingError(f"'about' does not go with '{text}'", expected=f"{example} {text}")
        return named
    ratio = parse_ratio(text)
    if ratio is not None:
        kind = kind or KINDS["volts"]
        if not kind.numeric:
            message = f"'{text}' is a ratio, and {kind.name} is told by a word"
            raise ReadingError(message, expected=f"{example} {kind.example}")
        return _Value(kind, ratio.value, about, ratio.resolution, of_good=True)
    if kind is not None and not kind.numeric:
        _one_thing(text, kind, example)
        words_ = " or ".join(dict.fromkeys(kind.shows.values()))
        raise ReadingError(f"'{text}' is none of {words_}", expected=f"{example} {kind.example}")
    if ".." in text or "…" in text:
        if about:
            raise ReadingError("a range is not 'about' something", expected=f"{example} {text}")
        kind, low, high = _range(text, kind, example)
        _possible(kind, meter, text, low, high)
        return _Value(kind, (low, high))
    _one_thing(text, kind, example)
    kind, number, resolution = _number(text, kind, example)
    _possible(kind, meter, text, number)
    return _Value(kind, number, about, resolution)


def _one_thing(text: str, kind: Kind | None, example: str) -> None:
    """Refuse a value that says two things at once: two words, a word and a number, two numbers."""
    words = [word for word in text.casefold().split() if word not in ("and", "&", ",")]
    shown = {word for each in KINDS.values() for word in each.shows}
    said = [word in shown or re.match(_PLAIN, word) is not None for word in words]
    if len(words) > 1 and all(said) and (words[0] in shown or words[-1] in shown):
        first = next(word for word in words if word in shown)
        raise ReadingError(f"'{text}' says two things; write one reading for each", expected=f"{example} {first}")
    if re.search(r"\S\s+[-+.]?\d", text):
        raise ReadingError(f"'{text}' is more than one value", expected=f"{example} {(kind or KINDS['volts']).example}")


def _possible(kind: Kind, meter: Meter, text: str, *numbers: float) -> None:
    """Refuse numbers that this function of the meter cannot show."""
    for number in numbers:
        reason = kind.refuse(meter, number)
        if reason is not None:
            raise ReadingError(f"'{text}' is not possible: {reason}")


def _word(text: str, kind: Kind | None, copper: str | None, example: str) -> _Value | None:
    """Read a value that is a word; None if it is none."""
    lowered = _OVERLOAD.sub("ol", text.casefold())
    showing = [each for each in KINDS.values() if lowered in each.shows and (kind is None or each is kind)]
    if not showing:
        elsewhere = [each for each in KINDS.values() if lowered in each.shows]
        if kind is not None and elsewhere:
            message = f"a reading of {kind.name} does not show '{text}'"
            raise ReadingError(message, expected=f"{example} {kind.example}")
        return None
    if len(showing) > 1 and copper is not None and KINDS["continuity"] in showing:
        showing = [KINDS["continuity"]]
    if len(showing) > 1:
        forms = " or ".join(f"'{example} {each.words[0]} {each.shows[lowered]}'" for each in showing)
        raise ReadingError(f"'{text}' does not tell which function of the meter showed it: write {forms}")
    return _Value(showing[0], showing[0].shows[lowered])


def _number(text: str, kind: Kind | None, example: str) -> tuple[Kind, float, float]:
    """Return kind, number and last digit; without kind the unit tells it, volts if there is none."""
    joined = text.replace(" ", "")
    for each in [kind] if kind is not None else [KINDS[name] for name in ("volts", "ohms", "current")]:
        try:
            return each, parse_quantity(joined, each.unit), last_digit(joined, each.unit)
        except QuantityError:
            continue
    if re.search(r"\d,\d", text):
        raise ReadingError(f"'{text}' has a comma", expected=f"{example} {text.replace(',', '.')}")
    if kind is not None:
        raise ReadingError(f"'{text}' is not a value in {kind.unit.value}", expected=f"{example} {kind.example}")
    words = dict.fromkeys(word for each in KINDS.values() for word in each.shows.values())
    meant = close(text.split(maxsplit=1)[0], [*words, "about", "with"])
    hint = f"; did you mean {' or '.join(meant)}?" if meant else ""
    raise ReadingError(f"'{text}' is no value{hint}", expected=None if meant else FORMS)


def _range(text: str, kind: Kind | None, example: str) -> tuple[Kind, float, float]:
    """Return kind and both ends of ``low..high``; a unit at the end holds for both."""
    ends = re.split(r"\.\.+|…", text.replace(" ", ""))
    if len(ends) != 2 or not all(ends):
        raise ReadingError(f"'{text}' is not a range", expected=f"{example} 0.1..0.3")
    found, high, _ = _number(ends[1], kind, example)
    first = ends[0] + re.sub(_PLAIN, "", ends[1], count=1) if re.fullmatch(_PLAIN, ends[0]) else ends[0]
    _, low, _ = _number(first, found, example)
    if not low < high:
        raise ReadingError(f"the range '{text}' does not rise", expected=f"{example} 0.1..0.3")
    return found, low, high


def last_digit(text: str, unit: Unit) -> float:
    """Return the worth of the last digit written: 0.001 for ``602mV`` in volts, 100 for ``9k2``."""
    found = _MANTISSA.search(text)
    if found is None:
        raise QuantityError(f"'{text}' has no digits", got=text)
    at = max(i for i in range(found.start(), found.end()) if text[i].isdigit())
    one = "".join(
        "1" if i == at else "0" if found.start() <= i < found.end() and sign.isdigit() else sign
        for i, sign in enumerate(text)
    )
    return abs(parse_quantity(one, unit))


def _places(circuit: Circuit, fields: Fields, read: _Value, copper: str | None) -> tuple[str, str | None]:
    kind = read.kind
    if kind.site is not Site.NODES:
        names = circuit.supplies if kind.site is Site.SUPPLY else circuit.parts
        what = kind.site.value
        found = match(fields.place, names)
        if found is None:
            fed = [each.name for each in circuit.supplies.values() if each.net.casefold() == fields.place.casefold()]
            hint = f"; did you mean {fed[0]}?" if fed and kind.site is Site.SUPPLY else suggest(fields.place, names)
            message = f"{kind.name} is read at {what}, and '{fields.place}' is none{hint}"
            raise UnknownPlaceError(message, place=fields.place)
        if fields.to:
            message = f"{kind.name} is read at {what}, not between two places"
            raise ReadingError(message, expected=f"{found} {kind.example}")
        return found, None
    if copper is not None:
        if kind.live:
            first, second = circuit.copper[copper].touch
            message = f"'{copper}' is copper between {first} and {second}: put the tip on one of them"
            raise ReadingError(message, expected=f"{first} {fields.value}")
        return copper, None
    place = tip(circuit, fields.place)
    to = tip(circuit, fields.to) if fields.to else None
    if place == (to or circuit.grounds[0]):
        raise ReadingError(f"both tips are on '{place}'", expected=f"V5 {kind.example}")
    return place, to


_PREFIXES = {9: "G", 6: "M", 3: "k", 0: "", -3: "m", -6: "u", -9: "n", -12: "p"}


def format_value(reading: Reading) -> str:
    """Return the value of a reading as shorthand writes it, kind included."""
    kind = KINDS[reading.kind]
    unit = {Unit.VOLT: "V", Unit.AMPERE: "A"}.get(kind.unit, "")
    if reading.of_good:
        shown = format_ratio(reading.value, reading.resolution)
        shown = f"about {shown}" if reading.about else shown
        return shown if kind.name == "volts" else f"{shown} {kind.words[0]}"
    if isinstance(reading.value, str):
        shown = reading.value
    elif isinstance(reading.value, tuple):
        shown = f"{reading.value[0]!r}..{reading.value[1]!r}{unit}"
    else:
        shown = f"{_digits(reading.value, reading.resolution)}{unit}"
        shown = f"about {shown}" if reading.about else shown
    if kind.unit is Unit.OHM and kind.name == "ohms":
        return f"{shown} {kind.words[0]}"
    alone = isinstance(reading.value, str) and sum(shown.casefold() in each.shows for each in KINDS.values()) == 1
    return shown if alone or kind.name in ("volts", "current") else f"{kind.words[0]} {shown}"


def _digits(value: float, resolution: float | None) -> str:
    """Write a number down to the last digit that was read."""
    if resolution is None:
        return repr(value)
    exponent = round(math.log10(resolution))
    count = Decimal(round(Decimal(repr(value)).scaleb(-exponent)))
    size = 0 if count == 0 else count.adjusted() + exponent
    # the prefix below the size, but none so small that digits would be lost or invented
    allowed = [each for each in _PREFIXES if each >= exponent] or [max(_PREFIXES)]
    prefix = max((each for each in allowed if each <= size), default=min(allowed))
    return f"{count.scaleb(exponent - prefix):f}{_PREFIXES[prefix]}"


def format_reading(reading: Reading) -> str:
    """Return a reading in shorthand; `parse_reading` makes an equal reading of it."""
    words = [reading.place]
    if reading.to is not None:
        words += ["to", reading.to]
    words += [format_value(reading), f"@{reading.state}"]
    if reading.interventions:
        words += ["with", " and ".join(str(each) for each in reading.interventions)]
    if reading.note:
        words += ["#", reading.note]
    return " ".join(words)
