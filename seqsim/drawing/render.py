"""Scenes on paper: SVG, PNG and PDF by matplotlib, the same bytes for the same scene."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
from itertools import groupby
from typing import TYPE_CHECKING, Any

from seqsim.drawing.metrics import font_file, printable
from seqsim.drawing.scene import MIDDLE, Area, Disc, Item, Line, Scene, Text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS = ("svg", "png", "pdf")
MARGIN = 0.5
"""Blank rim of a picture, in its units."""
STROKE = 0.021
"""Width of a stroke of weight 1, in units."""
DOTS_PER_INCH = 200
POINTS_PER_INCH = 72
HASH_SALT = "seqsim"


def render(scene: Scene, form: str, unit_inches: float, title: str) -> bytes:
    """Return a scene as a file: ``svg``, ``png`` or ``pdf``; a unit of the scene is so many inches."""
    import matplotlib as mpl

    labels: dict[str, dict[str, Any]] = {
        "svg": {"Date": None, "Creator": "seqsim", "Title": title},
        "png": {"Software": "seqsim", "Title": printable(title).encode("latin-1", "replace").decode("latin-1")},
        "pdf": {"CreationDate": None, "Creator": "seqsim", "Producer": None, "Title": title},
    }
    settings: Any = {
        "svg.hashsalt": HASH_SALT,
        "svg.fonttype": "path",
        "path.simplify": False,
        "text.hinting": "none",
        "hatch.linewidth": 0.6,
    }
    with mpl.rc_context(settings):
        figure = _figure(scene, unit_inches)
        out = BytesIO()
        figure.savefig(out, format=form, dpi=DOTS_PER_INCH, metadata=labels[form])
    return out.getvalue()


def _figure(scene: Scene, unit_inches: float) -> Figure:
    from matplotlib.figure import Figure

    wide, high = scene.width + 2 * MARGIN, scene.height + 2 * MARGIN
    figure = Figure(figsize=(wide * unit_inches, high * unit_inches), facecolor="white")
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(-MARGIN, scene.width + MARGIN)
    axes.set_ylim(-MARGIN, scene.height + MARGIN)
    axes.set_axis_off()
    points = unit_inches * POINTS_PER_INCH
    for depth, artist in enumerate(_artists(scene.items, points)):
        artist.set_zorder(depth)
        axes.add_artist(artist)
    return figure


def _artists(items: tuple[Item, ...], points: float) -> Iterator[Any]:
    """Yield what matplotlib draws: strokes of one kind that follow each other are one path."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    strokes = sorted((item for item in items if isinstance(item, Line)), key=_style)
    others = [item for item in items if not isinstance(item, Line)]
    for style, group in groupby((*strokes, *others), key=_style):
        if style[0] == "text":
            yield from (_text(item, points) for item in group if isinstance(item, Text))
            continue
        _, weight, dashed, grey, hatch = style
        yield PathPatch(
            Path.make_compound_path(*(_path(item) for item in group)),
            facecolor="none" if grey < 0 else str(grey),
            edgecolor="black",
            linewidth=weight * STROKE * points,
            linestyle=(0, (3.2, 2.2)) if dashed else "solid",
            capstyle="butt" if dashed else "round",
            joinstyle="round",
            hatch=hatch or None,
        )


def _style(item: Item) -> tuple[str, float, bool, float, str]:
    match item:
        case Line():
            return ("line", item.weight, item.dashed, -1.0, "")
        case Area():
            return ("area", item.weight, item.dashed, -1.0 if item.grey is None else item.grey, item.hatch)
        case Disc():
            return ("area", item.weight, False, -1.0 if item.grey is None else item.grey, "")
        case Text():
            return ("text", 0.0, False, 0.0, "")


def _path(item: Item) -> Any:
    from matplotlib.path import Path

    match item:
        case Line():
            return Path(item.points)
        case Area():
            return Path((*item.points, item.points[0]), closed=True)
        case Disc():
            return Path.circle(item.centre, item.radius)
    message = f"{item} is no stroke"
    raise TypeError(message)


def _text(item: Text, points: float) -> Any:
    from matplotlib.font_manager import FontProperties
    from matplotlib.text import Text as Drawn

    return Drawn(
        item.at[0],
        item.at[1] - MIDDLE * item.size,
        printable(item.text, bold=item.bold),
        fontproperties=FontProperties(fname=font_file(bold=item.bold), size=item.size * points),
        horizontalalignment=item.align.value,
        verticalalignment="baseline",
        color=str(item.grey),
        parse_math=False,
    )
