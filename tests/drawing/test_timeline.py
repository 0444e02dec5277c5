"""The picture of a power-up: its folded time axis, its strips, the file that it writes."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from seqsim.circuit import Circuit, read_circuit
from seqsim.drawing.timeline import Folded, draw_timeline, drawable, strips
from seqsim.errors import SeqsimError
from seqsim.sequence import PowerUp, power_up

BOARD = Path(__file__).parents[2] / "circuits" / "power_good_chain.yaml"


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return read_circuit(BOARD)


@pytest.fixture(scope="module")
def result(circuit: Circuit) -> PowerUp:
    return power_up("power_good_chain", circuit, draws=0)


def test_folded_axis_keeps_the_order() -> None:
    """Later is always further right; a long pause is not much wider than a short one."""
    axis = Folded.at([1e-3, 2e-3, 0.5, 0.501], 1.0)
    times = np.linspace(0, 1, 1001)
    places = axis.place(times)
    assert (np.diff(places) > 0).all()
    assert places[0] == 0
    assert places[-1] == 1
    short, long = np.diff(axis.place(np.array([1e-3, 2e-3, 0.5])))
    assert 1 < long / short < 4


def test_strips(circuit: Circuit, result: PowerUp) -> None:
    """Rails come first, then the target, enables and power-goods, signals from outside; each once."""
    assert result.course is not None
    nets = strips(circuit, result.course)
    assert nets[:3] == ("V5", "V3V3", "V1V8")
    assert nets[3] == "RADIO_GO"
    assert set(nets) >= {"PG_5V", "ARM", "V12"}
    assert len(nets) == len(set(nets))


def test_same_input_same_picture(circuit: Circuit, result: PowerUp, tmp_path: Path) -> None:
    """The same power-up gives the same file, byte by byte, with every net and every event written in it."""
    first, second = tmp_path / "a.svg", tmp_path / "b.svg"
    draw_timeline(result, circuit, first)
    draw_timeline(result, circuit, second)
    assert first.read_bytes() == second.read_bytes()
    assert ET.fromstring(first.read_text(encoding="utf-8")).tag.endswith("svg")  # noqa: S314


def test_readable_in_grey() -> None:
    """Rails and signals differ by more than hue: their greys differ, and rails have hatched windows."""
    from matplotlib.colors import to_rgb

    from seqsim.drawing.timeline import BAND, INK, LIFTED

    def grey(colour: str) -> float:
        return float(np.dot(to_rgb(colour), (0.299, 0.587, 0.114)))

    assert grey(INK) + 0.1 < grey(LIFTED) < grey(BAND) - 0.3


def test_refuses_what_it_cannot_draw(circuit: Circuit, tmp_path: Path) -> None:
    """Unknown suffixes, missing folders, and results without traces are refused in one sentence."""
    with pytest.raises(SeqsimError, match="let its name end in"):
        drawable(tmp_path / "x.gif")
    with pytest.raises(SeqsimError, match="no folder"):
        drawable(tmp_path / "none" / "x.png")
    bare = PowerUp("x", (), (), None, None, None, (), (), (), 1.0)
    with pytest.raises(SeqsimError, match="no traces"):
        draw_timeline(bare, circuit, tmp_path / "x.png")
