"""Widths of texts, from the advance widths of the font that the pictures are drawn with."""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import Any

FONT, BOLD_FONT = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"
"""They come with matplotlib, so a picture looks the same on every machine."""
EM = 1000
"""Pixels of an em while measuring."""


def font_file(*, bold: bool = False) -> Path:
    """Return the file of the font."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf" / (BOLD_FONT if bold else FONT)


@cache
def _face(bold: bool) -> tuple[Any, frozenset[int]]:  # noqa: FBT001 - a key of the cache
    from matplotlib.ft2font import FT2Font

    face = FT2Font(str(font_file(bold=bold)))
    face.set_size(EM, 72)
    return face, frozenset(face.get_charmap())


@lru_cache(maxsize=4096)
def _advance(character: str, bold: bool) -> float:  # noqa: FBT001 - a key of the cache
    face, known = _face(bold)
    code = ord(character) if ord(character) in known else ord(UNKNOWN)
    return float(face.load_char(code).linearHoriAdvance) / 65536 / EM


UNKNOWN = "□"
"""Stands for what the font lacks."""


def printable(text: str, *, bold: bool = False) -> str:
    """Return a text in which what the font lacks is replaced."""
    _, known = _face(bold)
    return "".join(character if ord(character) in known else UNKNOWN for character in text)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a text whose em is ``size``."""
    return size * sum(_advance(character, bold) for character in text)
