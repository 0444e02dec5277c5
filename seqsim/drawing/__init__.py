"""Pictures: the chain of a board, its levels, a ranking; placed by a pure function, drawn without colour."""

from seqsim.drawing.draw import draw, draw_chain, draw_levels, draw_ranking
from seqsim.drawing.picture import Picture, PictureError

__all__ = ["Picture", "PictureError", "draw", "draw_chain", "draw_levels", "draw_ranking"]
