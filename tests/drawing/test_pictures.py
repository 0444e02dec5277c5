"""Pictures as files, of boards, of levels and of rankings, and the command that writes them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from drawn_boards import library_circuit

import seqsim
from seqsim.drawing import PictureError, draw_ranking
from seqsim.drawing.metrics import text_width
from seqsim.drawing.ranking_picture import BAR
from seqsim.drawing.scene import Align, Area, Text
from seqsim.drawing.symbols import symbol
from seqsim.parts import KINDS

Shell = Callable[[str], Any]


@pytest.mark.parametrize(("suffix", "head"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_formats(tmp_path: Path, suffix: str, head: bytes) -> None:
    """Each suffix gives a file of its format."""
    written = seqsim.load("inverting_npn").draw().save(tmp_path / f"board.{suffix}")
    assert written.read_bytes().startswith(head)
    if suffix == "svg":
        assert ET.fromstring(written.read_bytes()).tag.endswith("svg")  # noqa: S314 - our own file


def test_other_formats_are_refused(tmp_path: Path) -> None:
    """A suffix without a format, a folder that is not there and a thing without a picture are refused in a sentence."""
    picture = seqsim.load("inverting_npn").draw()
    with pytest.raises(PictureError, match=r"svg, \.png or \.pdf"):
        picture.save(tmp_path / "board.gif")
    with pytest.raises(PictureError, match="cannot be written"):
        picture.save(tmp_path / "none" / "board.svg")
    with pytest.raises(PictureError, match="no picture of a int"):
        seqsim.draw(3)


def test_every_kind_has_a_symbol() -> None:
    """The symbol that a part family names can be drawn, or stands for the box of a chip."""
    for kind in KINDS.values():
        if kind.symbol not in ("Ic", "VoltageRegulator"):
            drawn = symbol("Switch" if kind.symbol == "Jumper" else kind.symbol)
            assert drawn.items
            assert drawn.anchors


def test_widths_of_texts() -> None:
    """Against matplotlib's own text engine: widths agree within a hundredth."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    from seqsim.drawing.metrics import font_file

    for text in ("EN_BLOWER", "4.549 V", "R12 47 kΩ"):
        path = TextPath((0, 0), text, size=100, prop=FontProperties(fname=font_file()))
        extents = path.get_extents()
        assert text_width(text, 100) == pytest.approx(extents.x1, rel=0.03)


def test_a_net_whose_name_the_font_lacks() -> None:
    """A name in an unknown script is drawn with signs that stand for it, without a warning."""
    from seqsim.circuit import parse_circuit
    from seqsim.drawing import draw_chain

    text = (
        "format: 1\nsupplies: {V5: {volts: 5}}\npower_states: {on: {on: [V5]}}\n"
        "parts:\n  R1: {kind: resistor, ohms: 1k, pins: [V5, 電源$x_1$]}\n"
    )
    assert draw_chain("odd", parse_circuit(text.encode(), "odd.yaml")).to_bytes("svg")


def test_level_map() -> None:
    """Levels of all power states stand side by side, dark where high; nets from the sources to the target."""
    board = seqsim.load("double_inversion")
    scene = seqsim.draw([board.levels(state) for state in ("asleep", "awake")]).scene
    texts = scene.texts()
    assert {"asleep", "awake", *(net for net in board.circuit.nets() if net != "GND")} <= set(texts)
    white = [item.text for item in scene.items if isinstance(item, Text) and item.grey == 1.0]
    assert "12.00 V" in white
    for k, one in enumerate(scene.boxes):
        assert not any(one.overlaps(other) for other in scene.boxes[k + 1 :])


def ranking(probabilities: list[float]) -> dict[str, Any]:
    """Return documented fields of a ranking, made up."""
    reading = {"place": "EN", "to": None, "kind": "volts", "state": "on", "unit": "V"}
    healthy = {"healthy_low": 4.4, "healthy_high": 4.7}
    return {
        "schema": 1, "circuit": "board", "where": [], "read_again": [], "next": [], "cautions": [],
        "readings": [
            reading | healthy | {"value": 0.02, "verdict": "low"},
            reading | healthy | {"value": [0.1, 0.3], "verdict": "low"},
            reading | healthy | {"value": "OL", "unit": "Ω", "kind": "ohms", "verdict": "no_prediction"}
            | {"healthy_low": None, "healthy_high": None},
        ],
        "hypotheses": [
            {
                "faults": [f"R{k}:open"], "place": f"R{k}", "probability": p, "group": k, "group_size": 1 + k,
                "stated": True,
                "readings_explained": 1, "readings_total": 3, "confirm": "", "repair": "", "caution": "",
                "predictions": [
                    {"predicted": 0.0, "low": -0.01, "high": 0.05, "speaks": "for"},
                    {"predicted": 0.0, "low": -0.01, "high": 0.05, "speaks": "for"},
                    {"predicted": None, "low": None, "high": None, "speaks": "neutral"},
                ],
            }
            for k, p in enumerate(probabilities)
        ],
        "none_of_these": 1 - sum(probabilities),
    }  # fmt: skip


def test_ranking_bars() -> None:
    """The bars are as long as the probabilities say, in their order, none of these last; readings stand beside."""
    scene = draw_ranking(ranking([0.6, 0.3])).scene
    bars = [
        max(x for x, _ in item.points) - min(x for x, _ in item.points)
        for item in scene.items
        if isinstance(item, Area) and item.grey in (0.15, 0.88)
    ]
    assert bars[:3] == pytest.approx([0.6 * BAR, 0.3 * BAR, 0.1 * BAR])
    assert {"R0:open", "R1:open", "none of these", "20.0 mV", "OL", "0.100 V to 0.300 V"} <= set(scene.texts())
    for k, one in enumerate(scene.boxes):
        assert not any(one.overlaps(other) for other in scene.boxes[k + 1 :])


def test_ranking_without_a_leader() -> None:
    """Fields without hypotheses, as when nothing explains the readings, still give a picture."""
    assert draw_ranking(ranking([])).to_bytes("svg")


def test_why_as_a_picture() -> None:
    """An explanation is drawn as the chain that decides its node, in its state and with its faults."""
    picture = seqsim.draw(seqsim.load("double_inversion").why("WAKE_N", "asleep", "R3:open"))
    assert "asleep, with R3:open" in picture.title
    texts = picture.scene.texts()
    assert any(text.startswith("what decides WAKE_N") for text in texts)
    assert "Q1" in texts
    assert "Q2" not in texts


def test_alignment_of_texts() -> None:
    """A centred text extends as far to the left as to the right."""
    (left, _), (right, _) = Text((0.0, 0.0), "EN_BLOWER", align=Align.CENTRE).corners()
    assert left == pytest.approx(-right)


def test_command(shell: Shell, tmp_path: Path) -> None:
    """`draw` writes the picture and says which; what decides one node leaves the rest out."""
    file = tmp_path / "board.svg"
    fields = json.loads(shell(f"draw greenhouse_fan --for Q1.B -s battery -f VIA3:broken -o {file} --json").out)
    assert fields["pictures"][0]["file"] == str(file)
    assert fields["pictures"][0]["kind"] == "chain"
    assert "VIA3:broken" in fields["pictures"][0]["title"]
    assert file.stat().st_size > 1000
    shown = seqsim.load("greenhouse_fan").draw("Q1.B", "battery").scene.texts()
    assert "Q2" in shown
    assert "M1" not in shown
    assert any(text.startswith("what decides Q1_BASE") for text in shown)


def test_levels_from_the_shell(shell: Shell, tmp_path: Path) -> None:
    """`draw --levels` draws the level map of a board, faulty if asked."""
    file = tmp_path / "levels.png"
    outcome = shell(f"draw inverting_npn --levels -f R1:open -o {file}")
    assert outcome.code == 0
    assert "levels, with R1:open" in outcome.out
    assert file.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("draw", "needs a board"),
        ("draw greenhouse_fan --for EN_BLOWR -o x.svg", "EN_BLOWER"),
        ("draw greenhouse_fan --for GND -o x.svg", "nothing decides GND"),
        ("draw greenhouse_fan --levels --ranking", "one of them"),
        ("draw greenhouse_fan --gallery x", "no board"),
        ("draw greenhouse_fan -o x.gif", ".svg, .png or .pdf"),
    ],
)
def test_refusals(shell: Shell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str, words: str) -> None:
    """What cannot be drawn is refused in one sentence, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    outcome = shell(line)
    assert outcome.code == 2
    assert words in outcome.err
    assert list(tmp_path.iterdir()) == []


def test_gallery(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page of a library of two circuits names both, shows each file that was written, and fetches nothing."""
    from seqsim.circuit import library
    from seqsim.drawing import gallery

    chosen = {name: library()[name] for name in ("inverting_npn", "double_inversion")}
    monkeypatch.setattr(gallery, "library", lambda: chosen)
    drawn = gallery.draw_gallery(tmp_path / "pictures")
    assert drawn.page is not None
    page = drawn.page.read_text(encoding="utf-8")
    assert "http" not in page
    for name in chosen:
        assert library_circuit(name).title in page
    for file, _ in drawn.pictures:
        assert file.is_file()
        assert f'src="{file.name}"' in page
