"""Pieces: meshes of a sculpt that stay parts of their own, seated on the part that carries them."""

from condyle.figure.pieces.piece import Piece
from condyle.figure.pieces.seat_pieces import with_pieces

__all__ = ["Piece", "with_pieces"]
