"""A picture: a scene that can be written as SVG, PNG or PDF, and that a notebook shows by itself."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from seqsim.drawing.render import FORMATS, render
from seqsim.drawing.scene import Scene
from seqsim.errors import SeqsimError

SHEETS = ((11.0, 7.6), (15.8, 11.0))
"""Width and height (inches) that are drawn on: A4 and A3, lying (ISO 216), without their rims."""
LARGEST_UNIT = 0.42
"""Inches of a unit where a picture is small: names stand in 9 points then."""
READABLE_UNIT = 0.26
"""Below this on the small sheet the large one is taken: names would stand in less than 5.6 points."""


class PictureError(SeqsimError, ValueError):
    """A picture cannot be written as asked."""


@dataclass(frozen=True)
class Picture:
    """A drawing of a result; ``kind`` is ``chain``, ``level_map`` or ``ranking``."""

    kind: str
    title: str
    scene: Scene

    @property
    def unit_inches(self) -> float:
        """Size of a unit on paper (inches)."""
        small, large = (min(wide / (self.scene.width + 1), high / (self.scene.height + 1)) for wide, high in SHEETS)
        return min(small if small >= READABLE_UNIT else large, LARGEST_UNIT)

    def to_bytes(self, form: str = "svg") -> bytes:
        """Return the picture as a file: ``svg``, ``png`` or ``pdf``."""
        if form not in FORMATS:
            raise PictureError(f"a picture cannot be written as '{form}'; name the file .svg, .png or .pdf", got=form)
        return render(self.scene, form, self.unit_inches, self.title)

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the picture to a file whose suffix tells its format, and return its path.

        Raises
        ------
        PictureError
            If the suffix is of no known format, or the file cannot be written.
        """
        target = Path(path)
        written = self.to_bytes(target.suffix.removeprefix(".").lower())
        try:
            target.write_bytes(written)
        except OSError as error:
            reason = error.strerror or "the system refuses it"
            raise PictureError(f"the picture cannot be written: {reason.lower()}", file=str(target)) from None
        return target

    def _repr_svg_(self) -> str:
        """Return what a notebook shows."""
        return self.to_bytes("svg").decode()

    def __str__(self) -> str:
        return f"picture ({self.kind.replace('_', ' ')}): {self.title}; save it as .svg, .png or .pdf"

    def to_dict(self) -> dict[str, Any]:
        """Return what the picture is, for programs; sizes in inches."""
        unit = self.unit_inches
        return {
            "kind": self.kind, "title": self.title,
            "width_inches": round((self.scene.width + 1) * unit, 3),
            "height_inches": round((self.scene.height + 1) * unit, 3),
        }  # fmt: skip
