"""Power-up over time as stacked traces: one strip a net, with the events marked and numbered.

Almost everything of a power-up happens in a few moments with long pauses between them, so the time axis is folded:
each stretch between two events is as wide as the logarithm of its length asks for. Shades of grey, hatching and
line styles carry the meaning; one dark blue sets off what is up and needs no other colour beside it.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from seqsim.circuit import Circuit
from seqsim.errors import SeqsimError
from seqsim.network.network import Floats
from seqsim.sequence.rails import trace_of, window
from seqsim.sequence.result import Happening, PowerUp
from seqsim.solver.course import Course
from seqsim.wording.powerup import seconds

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SUFFIXES = (".png", ".svg", ".pdf")
MOST_STRIPS = 16
MOST_MARKS = 40
SIGNAL_PINS = ("EN", "PG")
SHORTEST = 2e-6
"""Seconds that are still told apart on the folded axis."""
INK, SHADE, BAND, LIFTED = "#111111", "#777777", "#e4e4e4", "#0b4f8a"
LINE = 66
ROW, STATES_AT = 8.0, 28.0
"""Points between the rows of numbers, and from the first strip up to the names of the power states."""


def drawable(path: Path) -> None:
    """Raise if a picture cannot be written to a path.

    Raises
    ------
    SeqsimError
        If its suffix is none of the known ones, or its folder does not exist.
    """
    if path.suffix.lower() not in SUFFIXES:
        message = f"a picture called '{path}' cannot be drawn; let its name end in {', '.join(SUFFIXES)}"
        raise SeqsimError(message, expected=" or ".join(SUFFIXES), got=path.suffix)
    if not path.absolute().parent.is_dir():
        raise SeqsimError(f"there is no folder for the picture '{path}'; make it first", got=str(path))


@dataclass(frozen=True)
class Folded:
    """A time axis with marks: between two of them, width goes with the logarithm of the time that passes."""

    marks: Floats

    @classmethod
    def at(cls, moments: list[float], end: float) -> Folded:
        """Return the axis with these moments, its start and its end as marks."""
        found: list[float] = []
        for moment in sorted({0.0, *moments, end}):
            if not found or moment - found[-1] > SHORTEST:
                found.append(moment)
        found[-1] = max(found[-1], end)
        return cls(np.array(found))

    def place(self, times: Floats) -> Floats:
        """Return where times lie on the axis, from 0 to 1."""
        widths = np.log1p(np.diff(self.marks) / (10 * SHORTEST)) + 0.4
        edges = np.concatenate([[0.0], np.cumsum(widths)])
        return np.asarray(np.interp(times, self.marks, edges) / edges[-1])

    def dense(self, times: Floats) -> Floats:
        """Return the times with further ones between the marks, so that straight lines stay straight in time."""
        return np.unique(np.concatenate([times, self.marks]))


def draw_timeline(result: PowerUp, circuit: Circuit, path: Path) -> None:
    """Draw a power-up into a file."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    course = result.course
    if course is None:
        raise SeqsimError("this power-up was read from its fields and has no traces to draw; run it again")
    nets = strips(circuit, course)
    end = max(result.until, *(at for _, at in result.states), *(event.seconds for event in result.events), 1e-9)
    told = [event for event in result.events if event.seconds <= end][:MOST_MARKS]
    axis = Folded.at([event.seconds for event in told], end)
    lines = [f"{k}  {seconds(event.seconds)}: {event.what}" for k, event in enumerate(told, start=1)]
    wrapped = [textwrap.wrap(line, LINE, subsequent_indent="     ") for line in lines]
    rows = sum(len(line) for line in wrapped)
    height = max(0.62 * len(nets) + 1.9, 0.17 * rows + 1.5)
    with mpl.rc_context({"font.size": 8, "svg.hashsalt": "seqsim", "font.family": "DejaVu Sans"}):
        figure = Figure(figsize=(14, height))
        FigureCanvasAgg(figure)
        grid = figure.add_gridspec(
            len(nets), 2, width_ratios=(2.1, 1), hspace=0.12, wspace=0.03, left=0.09, right=0.99,
            top=1 - 1.0 / height, bottom=0.75 / height,
        )  # fmt: skip
        axes = [figure.add_subplot(grid[k, 0]) for k in range(len(nets))]
        for net, ax in zip(nets, axes, strict=True):
            _strip(ax, net, circuit, course, axis, end)
            _states(ax, result, axis, end)
            for event in told:
                ax.axvline(float(axis.place(np.array([event.seconds]))[0]), color=SHADE, linewidth=0.4, linestyle=":")
        _top(axes[0], result, told, axis)
        _bottom(axes[-1], axis)
        board = "healthy" if not result.faults else " and ".join(result.faults)
        figure.suptitle(f"{result.circuit}: power-up, {board}", x=0.09, y=1 - 0.12 / height, ha="left", fontsize=10)
        key = figure.add_subplot(grid[:, 1])
        key.axis("off")
        text = "\n".join("\n".join(line) for line in wrapped)
        key.text(0.0, 1.0, text, va="top", ha="left", fontsize=7, linespacing=1.35, transform=key.transAxes)
        missing = result.first_missing
        verdict = "every rail came up" if missing is None else f"first missing: {missing}"
        figure.text(0.09, 0.12 / height, f"{verdict}. The time axis is folded: long pauses are shortened.", color=INK)
        metadata = {"Date": None} if path.suffix.lower() == ".svg" else {}
        figure.savefig(path, dpi=130, metadata=metadata)


def strips(circuit: Circuit, course: Course) -> tuple[str, ...]:
    """Return the nets to draw: rails, the target, enables and power-goods, signals from outside."""
    nets = [*circuit.rails, *([circuit.target] if circuit.target else [])]
    for part in circuit.parts.values():
        nets += [part.pins[pin] for pin in SIGNAL_PINS if pin in part.pins]
    nets += [supply.net for supply in circuit.supplies.values()]
    known = course.variant.network.node_index
    found = tuple(dict.fromkeys(net for net in nets if known.get(net, -1) >= 0))
    return found[:MOST_STRIPS] or tuple(course.variant.network.node_names[:1])


def _strip(ax: Axes, net: str, circuit: Circuit, course: Course, axis: Folded, end: float) -> None:
    trace = trace_of(course, net).until(end)
    times = axis.dense(trace.times)
    volts = np.interp(times, trace.times, trace.volts)
    # jumps keep both of their ends: interpolation alone would slant them
    at = np.concatenate([axis.place(trace.times), axis.place(times)])
    both = np.concatenate([trace.volts, volts])
    order = np.argsort(at, kind="stable")
    rail = circuit.rails.get(net)
    ax.plot(at[order], both[order], color=LIFTED if rail is not None else INK, linewidth=1.3)
    top = max(float(trace.volts.max()), 0.3)
    bottom = min(float(trace.volts.min()), 0.0)
    if rail is not None:
        low, high = window(rail)
        ax.axhspan(low, high, facecolor="none", edgecolor=SHADE, hatch="////", linewidth=0.0, alpha=0.6)
        top, bottom = max(top, high), min(bottom, low if rail.volts < 0 else 0.0)
    ax.set_ylim(bottom - 0.08 * (top - bottom), top + 0.14 * (top - bottom))
    ax.set_xlim(0, 1)
    ax.set_ylabel(net, rotation=0, ha="right", va="center", fontweight="bold" if rail is not None else "normal")
    ax.set_yticks([0, float(f"{top if rail is None else rail.volts:.3g}")])
    ax.tick_params(labelsize=6, length=2, bottom=False, labelbottom=False)
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)


def _states(ax: Axes, result: PowerUp, axis: Folded, end: float) -> None:
    starts = [at for _, at in result.states]
    for k, (start, stop) in enumerate(zip(starts, [*starts[1:], end], strict=True)):
        if k % 2:
            left, right = axis.place(np.array([start, stop]))
            ax.axvspan(float(left), float(right), color=BAND, zorder=0, linewidth=0)


def _top(ax: Axes, result: PowerUp, told: list[Happening], axis: Folded) -> None:
    """Write the power states, and the numbers of the events in up to three rows, above the first strip."""

    def write(text: str, place: float, points: float, **style: Any) -> None:
        at: dict[str, Any] = {
            "xycoords": ax.get_xaxis_transform(),
            "textcoords": "offset points",
            "annotation_clip": False,
        }
        ax.annotate(text, (place, 1.0), (0.0, points), va="bottom", **at, **style)

    for name, at in result.states:
        write(f" {name}", float(axis.place(np.array([at]))[0]), STATES_AT, fontsize=8, fontweight="bold")
    last, row = -1.0, 0
    for k, event in enumerate(told, start=1):
        place = float(axis.place(np.array([event.seconds]))[0])
        row = (row + 1) % 3 if place - last < 0.018 else 0
        last = place
        write(str(k), place, 2.0 + ROW * row, ha="center", fontsize=6)


def _bottom(ax: Axes, axis: Folded) -> None:
    """Write times under the last strip, where there is room for them."""
    ticks, last = [], -1.0
    for mark in axis.marks:
        place = float(axis.place(np.array([mark]))[0])
        if place - last > 0.045:
            ticks.append((place, seconds(float(mark))))
            last = place
    ax.set_xticks([place for place, _ in ticks], [text for _, text in ticks], rotation=35, ha="right", fontsize=6)
    ax.tick_params(axis="x", bottom=True, labelbottom=True, length=2)
