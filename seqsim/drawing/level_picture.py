"""The level map as a picture: nets down, power states across, each level by its shape."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from seqsim.drawing.facts import LEGEND, Facts, Flag
from seqsim.drawing.metrics import text_width
from seqsim.drawing.moment import flag
from seqsim.drawing.pen import Pen
from seqsim.drawing.scene import NAME, SMALL, THIN, TITLE, Line, Scene
from seqsim.results import LevelMap

ROW = 0.44
EVERY = 5
"""A thin line after so many rows leads the eye."""
COLUMN_GAP = 0.5


def level_scene(
    maps: Sequence[LevelMap], title: str, largest: Mapping[str, float] | None = None, order: Sequence[str] = ()
) -> Scene:
    """Return the levels of a board in one or several power states.

    ``largest`` gives the voltage against which each net is high or low; without it the largest of these maps.
    ``order`` says in which order the nets stand.
    """
    known = largest or {
        net: max(abs(levels.nodes[net].volts) for levels in maps if net in levels.nodes)
        for levels in maps
        for net in levels.nodes
    }
    nets = list(dict.fromkeys(net for levels in maps for net in levels.nodes))
    place = {net: k for k, net in enumerate(order)}
    nets.sort(key=lambda net: place.get(net, len(place)))
    pen = Pen("levels", Facts())
    flags: list[dict[str, Flag]] = [
        {net: flag(levels.nodes[net], known.get(net, abs(levels.nodes[net].volts))) for net in levels.nodes}
        for levels in maps
    ]
    names = max(text_width(net, NAME) for net in nets)
    x = names + COLUMN_GAP
    top = len(nets) * ROW + 0.2
    lefts = []
    for levels, column in zip(maps, flags, strict=True):
        lefts.append(x)
        pen.text((x, top + 0.3), levels.state, NAME, bold=True)
        widest = max([text_width(levels.state, NAME, bold=True), *(pen_width(each) for each in column.values())])
        x += widest + COLUMN_GAP
    pen.line((0.0, top), (x - COLUMN_GAP, top), weight=1.4)
    for row, net in enumerate(nets):
        y = top - 0.3 - row * ROW
        pen.text((0.0, y), net, NAME)
        for left, column in zip(lefts, flags, strict=True):
            if net in column:
                pen.flag(left, y, column[net])
        if row % EVERY == EVERY - 1 and row + 1 < len(nets):
            pen.items.append(Line(((0.0, y - ROW / 2), (x - COLUMN_GAP, y - ROW / 2)), THIN))
    legend = -0.35
    at = 0.0
    for level, words in LEGEND:
        at = pen.flag(at, legend, Flag(level, words)).right + 0.25
    pen.text((0.0, top + 0.95), title, TITLE, bold=True)
    return finished(pen)


def pen_width(shown: Flag) -> float:
    """Return the width of a flag."""
    return text_width(shown.text, SMALL, bold=True) + 0.45


def finished(pen: Pen) -> Scene:
    """Return what a pen has drawn as a scene, its corner at the origin."""
    left = min(box.left for box in pen.boxes)
    right = max(box.right for box in pen.boxes)
    bottom = min(box.bottom for box in pen.boxes)
    top = max(box.top for box in pen.boxes)
    return Scene(tuple(pen.items), tuple(pen.boxes), (), right - left, top - bottom).moved(-left, -bottom)
