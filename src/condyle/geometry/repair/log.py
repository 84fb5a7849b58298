"""What a repair did, in plain words."""

from __future__ import annotations

from dataclasses import dataclass, field

from condyle.finding import Point
from condyle.geometry.mesh import FloatArray


@dataclass
class Log:
    """What was changed, in plain words, in the order in which it was done; places of what is worth a look."""

    changes: list[str] = field(default_factory=list)
    places: dict[str, list[Point]] = field(default_factory=dict)

    def note(self, kind: str, words: str, places: FloatArray | None = None) -> None:
        self.changes.append(words)
        if places is not None and len(places):
            self.places.setdefault(kind, []).extend((float(x), float(y), float(z)) for x, y, z in places)


def some(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"
