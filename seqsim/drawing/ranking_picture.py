"""The ranking as a picture: how likely each hypothesis is, and what the leader predicts beside what was read.

It is made from the documented fields of a ranking and from nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from seqsim.drawing.facts import Facts
from seqsim.drawing.level_picture import finished
from seqsim.drawing.metrics import text_width
from seqsim.drawing.pen import DARK, PALE, WHITE, Pen
from seqsim.drawing.scene import NAME, SMALL, THIN, TITLE, Align, Area, Line, Scene, Text, rectangle
from seqsim.wording.next_reading import SURE
from seqsim.wording.ranking import MOST, SHOWN, VERDICTS, chance, name_of
from seqsim.wording.tables import count, percent, quantity

BAR, STRIP = 7.0, 6.0
"""Lengths of a probability of one, and of the scale of a reading."""
ROW = 0.68
HALF = 0.15
LONG = 60
"""Letters of a name before it is cut."""
Fields = Mapping[str, Any]


def ranking_scene(fields: Fields, title: str) -> Scene:
    """Return the picture of a ranking from its documented fields."""
    pen = Pen("ranking", Facts())
    y = _hypotheses(pen, fields)
    _readings(pen, fields, y - 0.6)
    pen.text((0.0, 1.25), title, TITLE, bold=True)
    return finished(pen)


def _hypotheses(pen: Pen, fields: Fields) -> float:
    likely = [h for h in fields["hypotheses"] if h["probability"] >= SHOWN][:MOST]
    rest = 1 - fields["none_of_these"] - sum(h["probability"] for h in likely)
    rows = [(_cut(name_of(h)), _length(h), f"{chance(h)} {_remark(h)}") for h in likely]
    if rest > SHOWN / 2:
        rows.append((f"{len(fields['hypotheses']) - len(likely)} others together", rest, percent(rest)))
    rows.append(("none of these", float(fields["none_of_these"]), percent(fields["none_of_these"])))
    names = max(text_width(name, NAME) for name, _, _ in rows) + 0.3
    pen.text((0.0, 0.55), "How likely", NAME, bold=True)
    y = 0.0
    for k, (name, length, words) in enumerate(rows):
        pen.text((0.0, y), name, NAME)
        named = k < len(likely)
        outline = Area(rectangle(names, y - HALF, names + BAR, y + HALF), WHITE, THIN)
        bar = Area(rectangle(names, y - HALF, names + BAR * length, y + HALF), DARK if named else PALE)
        pen.items += [outline, bar]
        pen.box("ranking", "symbol", [outline])
        pen.text((names + BAR + 0.15, y), words, SMALL)
        y -= ROW * 0.8
    return y


def _length(hypothesis: Fields) -> float:
    """Return how long a bar is: no longer than what may be stated."""
    return float(hypothesis["probability"] if hypothesis["stated"] else SURE)


def _remark(hypothesis: Fields) -> str:
    alike = f", {count(hypothesis['group_size'] - 1, 'look-alike')}" if hypothesis["group_size"] > 1 else ""
    return f"· explains {hypothesis['readings_explained']} of {hypothesis['readings_total']}{alike}"


def _cut(text: str) -> str:
    return text if len(text) <= LONG else text[: LONG - 1] + "…"


def _readings(pen: Pen, fields: Fields, top: float) -> None:
    readings = fields["readings"]
    if not readings:
        return
    leader = fields["hypotheses"][0] if fields["hypotheses"] else None
    predictions: Sequence[Fields] = leader.get("predictions", ()) if leader else ()
    pen.text((0.0, top), "Read, and predicted", NAME, bold=True)
    places = [_site(reading) for reading in readings]
    values = [quantity(reading["value"], reading["unit"]) for reading in readings]
    first = max(text_width(place, SMALL) for place in places) + 0.3
    second = first + max(text_width(value, SMALL, bold=True) for value in values) + 0.35
    y = top - 0.55
    for k, reading in enumerate(readings):
        pen.text((0.0, y), places[k], SMALL)
        pen.text((first, y), values[k], SMALL, bold=True)
        predicted = predictions[k] if k < len(predictions) else None
        words = _scale(pen, reading, predicted, second, y)
        pen.text((second + STRIP + 0.3, y), words, SMALL)
        y -= ROW
    at = second
    y -= 0.1
    diamond(pen, (at + 0.15, y))
    at = pen.text((at + 0.4, y), "read", SMALL).right + 0.4
    bar = Area(rectangle(at, y - 0.05, at + 0.5, y + 0.13), DARK)
    pen.items.append(bar)
    leads = _cut(name_of(leader)) if leader else "the leader"
    at = pen.text((at + 0.6, y), f"predicted by {leads}", SMALL).right + 0.4
    pen.items.append(Area(rectangle(at, y - 0.15, at + 0.5, y - 0.02), WHITE))
    pen.text((at + 0.6, y), "on a healthy board", SMALL)


def _site(reading: Fields) -> str:
    place = f"{reading['place']} to {reading['to']}" if reading.get("to") else reading["place"]
    return f"{place} {reading['kind']} @{reading['state']}"


def _scale(pen: Pen, reading: Fields, predicted: Fields | None, left: float, y: float) -> str:
    """Draw the scale of one reading with what is predicted above it, healthy below, the reading upon it."""
    value = reading["value"]
    numbers = [value] if isinstance(value, int | float) else list(value) if isinstance(value, list | tuple) else []
    spans = [
        (reading["healthy_low"], reading["healthy_high"]),
        (predicted["low"], predicted["high"]) if predicted else (None, None),
    ]
    known = [float(end) for span in spans for end in span if end is not None] + [float(number) for number in numbers]
    words = VERDICTS[reading["verdict"]]
    base = Line(((left, y), (left + STRIP, y)), THIN)
    pen.items.append(base)
    if not known:
        return words
    least, most = min([0.0, *known]), max([0.0, *known])
    size = (most - least) or 1.0

    def x(number: float) -> float:
        return left + STRIP * (number - least) / size

    for (low, high), bottom, height, grey in ((spans[0], -0.16, 0.13, WHITE), (spans[1], 0.03, 0.13, DARK)):
        if low is None or high is None:
            continue
        middle, half = (x(low) + x(high)) / 2, max((x(high) - x(low)) / 2, 0.06)
        pen.items.append(Area(rectangle(middle - half, y + bottom, middle + half, y + bottom + height), grey))
    if isinstance(value, str):
        pen.text((left + STRIP / 2, y + 0.16), value, SMALL * 0.8, align=Align.CENTRE)
    elif numbers:
        if len(numbers) > 1:
            pen.items.append(Line(((x(min(numbers)), y), (x(max(numbers)), y)), 2.6))
        diamond(pen, (x(sum(numbers) / len(numbers)), y))
    pen.items += [
        Text((left - 0.03, y - 0.28), quantity(least, reading["unit"]), SMALL * 0.75, align=Align.LEFT, grey=0.35),
        Text((left + STRIP, y - 0.28), quantity(most, reading["unit"]), SMALL * 0.75, align=Align.RIGHT, grey=0.35),
    ]
    return words


def diamond(pen: Pen, at: tuple[float, float]) -> None:
    """Draw the sign of a reading."""
    x, y = at
    size = 0.11
    rim = ((x - size, y), (x, y + 1.6 * size), (x + size, y), (x, y - 1.6 * size))
    pen.items.append(Area(rim, 0.62, 1.4))
