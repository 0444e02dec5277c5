"""The gallery: every circuit of the library as pictures on one page, with nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from pathlib import Path

from seqsim.circuit import Circuit, library, read_circuit
from seqsim.circuit.library import READINGS_SUFFIX, SUFFIX
from seqsim.drawing.draw import draw_chain, draw_levels, draw_ranking
from seqsim.drawing.drawn import Drawn
from seqsim.drawing.picture import Picture, PictureError
from seqsim.readings import read_readings

PAGE = "index.html"
STYLE = """
body { font-family: sans-serif; max-width: 72rem; margin: 2rem auto; padding: 0 1rem; color: #111; background: #fff; }
section { border-top: 2px solid #111; margin-top: 3rem; }
figure { margin: 1.5rem 0; }
figure img { max-width: 100%; height: auto; }
figcaption { margin-bottom: .5rem; }
p { line-height: 1.5; white-space: pre-line; }
"""


def draw_gallery(folder: Path) -> Drawn:
    """Draw every circuit of the library into a folder, and write the page that shows them.

    Raises
    ------
    PictureError
        If the folder cannot be made or written.
    """
    pictures: list[tuple[Path, Picture]] = []
    sections = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, path in library().items():
            circuit = read_circuit(path)
            figures = []
            for suffix, caption, picture in _pictures(name, path, circuit):
                file = picture.save(folder / f"{name}.{suffix}.svg")
                pictures.append((file, picture))
                figures.append(_figure(file.name, caption, picture.title))
            sections.append(_section(name, circuit, figures))
        page = folder / PAGE
        page.write_text(_page(sections), encoding="utf-8")
    except OSError as error:
        reason = (error.strerror or "the system refuses it").lower()
        raise PictureError(f"the gallery cannot be written: {reason}", file=str(folder)) from None
    return Drawn(None, tuple(pictures), page)


def _pictures(name: str, path: Path, circuit: Circuit) -> Iterator[tuple[str, str, Picture]]:
    """Yield the end of the file's name, the caption and the picture."""
    yield "chain", "The healthy board in its last power state.", draw_chain(name, circuit)
    yield "levels", "Its levels in each power state.", draw_levels(name, circuit)
    readings = path.with_name(path.name.removesuffix(SUFFIX) + READINGS_SUFFIX)
    if readings.is_file():
        from seqsim.diagnosis import rank

        taken = read_readings(circuit, readings)
        ranking = rank(circuit, taken).to_dict() | {"circuit": name}
        yield "ranking", "A broken one: what its readings say.", draw_ranking(ranking)
        faults = ranking["hypotheses"][0]["faults"] if ranking["hypotheses"] else ()
        broken = draw_chain(name, circuit, faults=faults, readings=taken.readings, node=circuit.target)
        yield "broken", "What decides its target, with the likeliest fault and the readings.", broken


def _figure(file: str, caption: str, title: str) -> str:
    return (
        f"<figure><figcaption>{escape(caption)}</figcaption>"
        f'<img src="{escape(file, quote=True)}" alt="{escape(title, quote=True)}"></figure>'
    )


def _section(name: str, circuit: Circuit, figures: list[str]) -> str:
    heading = f"{name}: {circuit.title}" if circuit.title else name
    return f"<section><h2>{escape(heading)}</h2><p>{escape(circuit.about)}</p>{''.join(figures)}</section>"


def _page(sections: list[str]) -> str:
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>seqsim: the library in pictures</title>'
        f"<style>{STYLE}</style></head><body><h1>The library in pictures</h1>"
        f"<p>Every scenario is invented.</p>{''.join(sections)}</body></html>\n"
    )
