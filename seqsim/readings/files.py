"""Files of readings: YAML (``format: 1``, ``meter:``, ``readings:``) or CSV with a line of column names."""

from __future__ import annotations

import csv
import io
import os
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from seqsim.circuit import Circuit
from seqsim.circuit.names import suggest
from seqsim.circuit.source import Entries, Items, Node, Text, parse_source
from seqsim.errors import CircuitError, QuantityError, ReadingError
from seqsim.readings.history import Phrase, past_file, phrases
from seqsim.readings.interventions import split_interventions
from seqsim.readings.meter import METER, Meter
from seqsim.readings.over_time import Seen, build_seen, is_over_time
from seqsim.readings.reading import Reading
from seqsim.readings.shorthand import Fields, build_reading, split_shorthand

FORMAT = "1"
MOST_BYTES = 1 << 20
"""Longest file (bytes): some ten thousand readings."""
MOST_READINGS = 2000

COLUMNS = ("place", "to", "kind", "value", "state", "with", "note")
KEYS = ("format", "meter", "readings", "reference", "history", "past")
STARTER = 'format: 1, then readings: with a list like ["EN 0.02", "V5 9k2 ohm"]'


class Readings(BaseModel):
    """A file of readings: the meter that took them, and the readings in their order.

    ``seen`` is what the board did over time; ``reference`` are readings of a known-good board of the same kind.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    meter: Meter = METER
    readings: tuple[Reading, ...] = ()
    seen: tuple[Seen, ...] = ()
    reference: tuple[Reading, ...] = ()
    history: tuple[Phrase, ...] = ()
    """what the board went through"""
    past: str | None = None
    """a file of what the shop has found before"""
    file: str | None = None

    def with_more(self, circuit: Circuit, written: Iterable[Fields]) -> Readings:
        """Return these with more of them, which tell what a meter showed or what was seen over time.

        Raises
        ------
        ReadingError, UnknownPlaceError
            If one is not understood.
        """
        readings, seen = list(self.readings), list(self.seen)
        for fields in written:
            if is_over_time(fields):
                seen.append(build_seen(circuit, fields))
            else:
                readings.append(build_reading(circuit, fields, self.meter))
        return self.model_copy(update={"readings": tuple(readings), "seen": tuple(seen)})

    def at_rest(self, command: str) -> Readings:
        """Return these for a command that looks at levels at rest alone.

        Raises
        ------
        ReadingError
            If some tell what was seen over time: that must not be lost silently.
        """
        for each in self.seen:
            message = f"'{each.text}' tells what was seen over time, which `{command}` does not use; leave it to `rank`"
            raise ReadingError(message, file=each.file, line=each.line, got=each.text)
        return self


def read_readings(circuit: Circuit, path: str | os.PathLike[str], meter: Meter = METER) -> Readings:
    """Return what a file of readings says; one whose name ends in ``.csv`` is CSV, any other YAML.

    Raises
    ------
    ReadingError, UnknownPlaceError
        If anything in it is not understood: no reading is ever left out silently.
    """
    file = os.fspath(path)
    text = _text(Path(path), file)
    if Path(path).suffix.lower() == ".csv":
        return Readings(meter=meter, file=file).with_more(circuit, _csv(text, file))
    return _yaml(circuit, text, file, meter)


def _bytes(path: Path, file: str) -> bytes:
    """Return the content of a file of bearable size."""
    try:
        about = path.stat()
        if stat.S_ISREG(about.st_mode) and about.st_size <= MOST_BYTES:
            return path.read_bytes()
    except FileNotFoundError:
        raise ReadingError("there is no such file of readings; check the path", file=file) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise ReadingError(f"the file cannot be read ({reason}); check its name and rights", file=file) from None
    if stat.S_ISREG(about.st_mode):
        message = f"the file has {about.st_size} bytes, more than the {MOST_BYTES} that are read; split it"
        raise ReadingError(message, file=file, got=str(about.st_size))
    what = "a folder" if stat.S_ISDIR(about.st_mode) else "no regular file"
    raise ReadingError(f"this is {what}; name a file of readings", file=file, got=what)


def _text(path: Path, file: str) -> str:
    """Return the text of a file that has any."""
    content = _bytes(path, file)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise ReadingError("the text is not UTF-8; save the file as UTF-8", file=file, line=line) from None
    if "\0" in text:
        raise ReadingError("this is a binary file; name a text file of readings", file=file)
    if not any(line.strip() and not line.lstrip().startswith("#") for line in text.splitlines()):
        raise ReadingError(f"the file holds no readings; write {STARTER}", file=file, line=1)
    return text


def _csv(text: str, file: str) -> Iterator[Fields]:
    """Yield the readings of a CSV text: its first line names the columns, in any order."""
    head = text.splitlines()[0]
    separator = max(",;\t", key=head.count)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    names: list[str] | None = None
    count = 0
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if names is None:
                names = _columns(cells, file)
                continue
            if not any(cells) or cells[0].startswith("#"):
                continue
            if len(cells) > len(names):
                message = (
                    f"this line has {len(cells)} values for {len(names)} columns; put a value that has a '{separator}' "
                    "in double quotes"
                )
                raise ReadingError(message, file=file, line=rows.line_num)
            piece = dict.fromkeys(names, "") | dict(zip(names, cells, strict=False))
            count += 1
            if count > MOST_READINGS:
                raise ReadingError(f"there are more than {MOST_READINGS} readings; split the file", file=file)
            yield _fields(piece, [piece.get("with", "")], file, rows.line_num)
    except csv.Error as error:
        message = f"this line is not CSV ({error}); put values with quotes or separators in double quotes"
        raise ReadingError(message, file=file, line=rows.line_num) from None
    if not count:
        raise ReadingError("the file has column names but no readings; write one a line, like EN,0.02", file=file)


def _columns(cells: list[str], file: str) -> list[str]:
    names = [cell.lower() for cell in cells]
    for name in names:
        if name not in COLUMNS:
            what = f"'{name}' is no column of readings" if name else "a column has no name"
            raise ReadingError(f"{what}{suggest(name, COLUMNS)}", file=file, line=1, got=name)
        if names.count(name) > 1:
            raise ReadingError(f"the column '{name}' stands twice; remove one", file=file, line=1, got=name)
    for name in ("place", "value"):
        if name not in names:
            message = f"there is no column '{name}'; begin the file with a line like place,kind,value,state"
            raise ReadingError(message, file=file, line=1, expected=name)
    return names


def _fields(piece: dict[str, str], done: Iterable[str], file: str, line: int) -> Fields:
    """Return the pieces of a reading from its columns or keys; a place may be written `A to B`."""
    words = piece.get("place", "").split()
    place, to = piece.get("place", ""), piece.get("to", "")
    if len(words) == 3 and words[1].casefold() == "to" and not to:
        place, to = words[0], words[2]
    elif len(words) != 1:
        message = (
            f"'{place}' is not one place; write it like EN or R1.2 to Q1.B"
            if words
            else "no place is named; write it like EN"
        )
        raise ReadingError(message, file=file, line=line, place=place)
    text = " ".join(
        part for part in (f"{place} to {to}" if to else place, piece.get("kind", ""), piece["value"]) if part
    )
    return Fields(
        place=place, to=to, kind=piece.get("kind", ""), value=piece["value"],
        state=piece.get("state", "").removeprefix("@"),
        interventions=tuple(phrase for each in done for phrase in split_interventions(each)),
        note=piece.get("note", ""), text=text, file=file, line=line,
    )  # fmt: skip


def _yaml(circuit: Circuit, text: str, file: str, meter: Meter) -> Readings:
    try:
        root = parse_source(text, file)
    except CircuitError as error:
        if error.expected == "a mapping":
            raise ReadingError(
                f"a file of readings is a mapping; write {STARTER}", file=file, line=error.line
            ) from None
        raise ReadingError(error.message, file=file, line=error.line) from None
    sections = _entries(root, "the file", KEYS, file)
    _check_format(sections, file)
    described = _meter(sections["meter"], file, meter) if "meter" in sections else meter
    written = {
        name: tuple(_listed(sections[name], name, file)) for name in ("readings", "reference") if name in sections
    }
    if not any(written.values()):
        raise ReadingError(f"the file holds no readings; write {STARTER}", file=file, line=root.line)
    reference = tuple(_of_itself(build_reading(circuit, each, described)) for each in written.get("reference", ()))
    known = Readings(
        meter=described, reference=reference, file=file,
        history=phrases(sections["history"], file) if "history" in sections else (),
        past=past_file(sections["past"], file) if "past" in sections else None,
    )  # fmt: skip
    return known.with_more(circuit, written.get("readings", ()))


def _of_itself(reading: Reading) -> Reading:
    """Return a reading of the good board, which must not be told as a share of itself."""
    if reading.of_good:
        message = f"'{reading.text}' stands under reference:, where a good board reads as itself; write what it showed"
        raise ReadingError(message, file=reading.file, line=reading.line, place=reading.place, got=reading.text)
    return reading


def _check_format(sections: dict[str, Node], file: str) -> None:
    given = sections.get("format")
    if given is None:
        raise ReadingError("the file does not begin with `format: 1`; write that line first", file=file, line=1)
    if not isinstance(given, Text) or given.text != FORMAT:
        shown = given.text if isinstance(given, Text) else "a list"
        message = f"format is '{shown}', but this version reads `format: 1`; correct it"
        raise ReadingError(message, file=file, line=given.line, expected=FORMAT, got=shown)


def _entries(node: Node, what: str, allowed: Iterable[str] | None, file: str) -> dict[str, Node]:
    """Return the entries of a mapping; repeated and unknown keys are errors."""
    if not isinstance(node, Entries):
        raise ReadingError(f"{what} must be a mapping, like {{key: value}}", file=file, line=node.line)
    found: dict[str, Node] = {}
    for key, value in node.entries:
        if key.text in found:
            raise ReadingError(f"{what} has '{key.text}' twice; remove one", file=file, line=key.line, got=key.text)
        if allowed is not None and key.text not in allowed:
            message = f"{what} has no key '{key.text}'{suggest(key.text, allowed)}"
            raise ReadingError(message, file=file, line=key.line, got=key.text)
        found[key.text] = value
    return found


def _listed(node: Node, what: str, file: str) -> Iterator[Fields]:
    """Yield the readings of a list."""
    if not isinstance(node, Items):
        message = f'{what} must be a list, like ["EN 0.02", "V5 9k2 ohm"]'
        raise ReadingError(message, file=file, line=node.line, expected="a list")
    if len(node.items) > MOST_READINGS:
        raise ReadingError(f"there are more than {MOST_READINGS} readings; split the file", file=file, line=node.line)
    for item in node.items:
        if isinstance(item, Text):
            yield split_shorthand(item.text, file=file, line=item.line)
        elif isinstance(item, Entries):
            yield _mapped(item, file)
        else:
            message = 'a list stands where a reading should be; write it like "EN 0.02" or {place: EN, value: 0.02}'
            raise ReadingError(message, file=file, line=item.line)


def _mapped(item: Entries, file: str) -> Fields:
    keys = [key.text for key, _ in item.entries]
    if len(keys) == 1 and keys[0] not in COLUMNS:
        message = f"'{keys[0]}:' makes a mapping; write the reading without the colon, like \"{keys[0]} 0.02\""
        raise ReadingError(message, file=file, line=item.line, got=keys[0])
    piece: dict[str, str] = {}
    done: list[str] = []
    for key, node in _entries(item, "a reading", COLUMNS, file).items():
        if key == "with":
            nodes = node.items if isinstance(node, Items) else [node]
            done = [_scalar(each, "with", file) for each in nodes]
        elif key == "value" and isinstance(node, Items):
            ends = [_scalar(each, "value", file) for each in node.items]
            if len(ends) != 2:
                raise ReadingError("a range has two ends; write it like [0.1, 0.3]", file=file, line=node.line)
            piece[key] = "..".join(ends)
        else:
            piece[key] = _scalar(node, key, file)
    if "value" not in piece:
        message = "a reading has no value; write it like {place: EN, value: 0.02}"
        raise ReadingError(message, file=file, line=item.line)
    return _fields(piece, done, file, item.line)


def _scalar(node: Node, what: str, file: str) -> str:
    if not isinstance(node, Text):
        raise ReadingError(f"{what} must be one value, not a list or mapping", file=file, line=node.line)
    return node.text


def _meter(node: Node, file: str, base: Meter) -> Meter:
    """Return the meter with what the file says of it in place of what was assumed."""
    changed: dict[str, Any] = {}
    for name, section in _entries(node, "the meter", Meter.model_fields, file).items():
        if name == "name":
            changed[name] = _scalar(section, name, file)
            continue
        function = getattr(base, name)
        given = _entries(section, f"the meter's {name}", type(function).model_fields, file)
        raw: dict[str, Any] = {}
        for key, value in given.items():
            if isinstance(value, Entries) and key == "accuracy":
                bounds = _entries(value, "an accuracy", None, file)
                raw[key] = {up_to: _scalar(bound, "an accuracy", file) for up_to, bound in bounds.items()}
            else:
                raw[key] = _scalar(value, key, file)
        try:
            changed[name] = type(function).model_validate(function.model_dump() | raw)
        except (ValidationError, QuantityError) as error:
            where = next((value.line for key, value in given.items() if _blames(error, key)), section.line)
            message = f"the meter's {name}: {_sentence(error)}"
            raise ReadingError(message, file=file, line=where) from None
    return base.model_copy(update=changed)


def _blames(error: ValidationError | QuantityError, key: str) -> bool:
    return isinstance(error, ValidationError) and key in error.errors()[0]["loc"]


def _sentence(error: ValidationError | QuantityError) -> str:
    if isinstance(error, QuantityError):
        return error.message
    return error.errors()[0]["msg"].removeprefix("Value error, ")
