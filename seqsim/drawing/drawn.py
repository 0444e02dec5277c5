"""What `seqsim draw` returns: which pictures were written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from seqsim.drawing.picture import Picture
from seqsim.wording import SCHEMA, Result

if TYPE_CHECKING:
    from rich.console import RenderableType


@dataclass(frozen=True, slots=True)
class Drawn(Result):
    """Pictures that were written, with their files; ``page`` is the page that shows them all, if there is one."""

    circuit: str | None
    pictures: tuple[tuple[Path, Picture], ...]
    page: Path | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the documented fields of ``draw``."""
        return {
            "schema": SCHEMA,
            "circuit": self.circuit,
            "pictures": [{"file": str(path), **picture.to_dict()} for path, picture in self.pictures],
            "page": None if self.page is None else str(self.page),
        }

    def renderable(self) -> RenderableType:
        """Return what was drawn, for people."""
        from seqsim.wording.drawn import drawn_text

        return drawn_text(self.to_dict())
