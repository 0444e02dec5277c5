"""Finds the fault of a board that does not come up.

    >>> import seqsim
    >>> board = seqsim.load("greenhouse_fan")
    >>> board.rank(["V5 5.02", "EN_BLOWER 0.02"])

All else is imported when it is used.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from seqsim.errors import SeqsimError

if TYPE_CHECKING:
    from os import PathLike

    from seqsim.board import Board
    from seqsim.drawing import Picture

# a board's matrices are small: on busy cores the threads of NumPy's linear algebra wait for each other a hundred times
# longer than one of them works. It must stand here before NumPy is loaded
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"

__all__ = ["SeqsimError", "__version__", "draw", "load"]


def load(circuit: str | PathLike[str]) -> Board:
    """Return the board that a circuit file describes.

    Parameters
    ----------
    circuit
        A path, or the name of a circuit of the library. A text with a ``/`` or a suffix is a path.

    Raises
    ------
    CircuitError
        If there is no such circuit, or its file does not describe one; the text says where and how to mend it.
    """
    from seqsim.board import Board

    return Board.load(circuit)


def draw(result: Any, **options: Any) -> Picture:
    """Return the picture of a board, of its levels in one power state or a list of them, a ranking, or an explanation.

    Parameters
    ----------
    result
        A `Board`, or what `Board.levels`, `Board.rank` and `Board.why` return.
    options
        For a board: those of `Board.draw`.

    Raises
    ------
    PictureError
        If there is no picture of such a thing.
    """
    from seqsim.board import draw_result

    return draw_result(result, **options)
