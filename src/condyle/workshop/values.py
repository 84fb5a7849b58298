"""A number of the workshop: what it is, how sure we are, and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measured:
    """A value with its standard deviation and source; the unit is in the name of the field that holds it.

    ``source`` is a citation, ``measured on DATE``, or ``prior`` for a guess that the maker should measure.
    """

    value: float
    sd: float
    source: str

    @property
    def is_prior(self) -> bool:
        return self.source.startswith("prior")
