"""What was found of one part, kept under that part's own hash, so that a variant costs only the parts that changed.

A part's key holds its solid, its mark and way up, the joints whose hardware stands in it, and whatever else the step says; not
the other parts. That only helps because a part that nothing has touched comes out of the cut with the same bytes: cutting
numbers its triangles by what else was cut, so each part is put into an order of its own first (``in_own_order``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

from condyle.figure.kit import Kit
from condyle.geometry.mesh import in_order
from condyle.geometry.solid import Solid, solid_from_mesh
from condyle.project.cache import KEPT_PER_STEP, Cache, key_of
from condyle.project.codec import to_bytes

T = TypeVar("T")


def in_own_order(kit: Kit) -> Kit:
    """The same kit, every part's vertices and triangles in an order that depends on that part alone."""
    parts = tuple(replace(p, solid=solid_from_mesh(in_order(p.mesh), p.name)) for p in kit.parts)
    return replace(kit, parts=parts)


def solid_bytes(solid: Solid) -> bytes:
    """A solid for a key."""
    return solid.mesh.vertices.tobytes() + b"|" + solid.mesh.faces.tobytes()


@dataclass(frozen=True, eq=False)
class PartKeys:
    """Keys of a kit's parts, and where what was found of them is kept."""

    kit: Kit
    cache: Cache

    @cached_property
    def of_part(self) -> Mapping[str, str]:
        """Each part's key: all of it that later steps look at, and the hardware of its joints."""
        out = {}
        for part in self.kit.parts:
            # A joint whole, but for what is said of it and for the fit that is only known once its parts lie.
            mine = [
                replace(j, findings=(), fit=None)
                for j in self.kit.joints
                if any(part.name in (a.moves, a.stays) for a in j.axles)
            ]
            told = to_bytes((part.name, part.bone, part.workshop, part.build_up, part.mark, mine))
            out[part.name] = key_of("part", solid_bytes(part.solid), told)
        return out

    def keep(self, step: str, more: Callable[[str], bytes]) -> KeepParts:
        """A keeper for a step that looks at one part at a time; ``more`` is what else its answer depends on, by part."""
        return KeepParts(self, step, more)


@dataclass(frozen=True, eq=False)
class KeepParts:
    """See ``proof.kept.Keep``."""

    keys: PartKeys
    step: str
    more: Callable[[str], bytes]

    def __call__(self, part: str, find: Callable[[], T]) -> T:
        key = key_of(self.step, self.keys.of_part[part].encode(), self.more(part))
        kept = KEPT_PER_STEP * len(self.keys.kit.parts)
        return self.keys.cache.fetch(self.step, key, find, kept=kept)[0]


def walls_kept(kit: Kit, cache: Cache) -> KeepParts:
    """For walls: a part and its joints say all."""
    return PartKeys(kit, cache).keep("walls", lambda _: b"")
