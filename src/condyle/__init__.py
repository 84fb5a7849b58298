"""Condyle: a character sculpt becomes a kit of printed parts that snap together, move, hold and stand."""

__version__ = "0.1.0"
