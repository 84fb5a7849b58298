"""One key for all that goes into a kit: when it is the same, so is the kit, to the byte."""

from __future__ import annotations

from typing import TYPE_CHECKING

from condyle.project.builds_step import pace_of
from condyle.project.cache import key_of
from condyle.project.codec import to_bytes
from condyle.project.grip_step import tool_bytes
from condyle.project.joints import wishes
from condyle.project.locker_step import locker_bytes
from condyle.project.part_tables import mixed_wishes, own_parts
from condyle.project.piece_step import piece_bytes

if TYPE_CHECKING:
    from condyle.project.pipeline import Opened


def inputs_key(opened: Opened) -> str:
    """``blake2b:`` and a hash over the figure file, every file it names as read, the logged pace, and the code itself."""
    document, workshop = opened.document, opened.workshop
    own = own_parts(document, opened.skeleton)
    asked = mixed_wishes(wishes(document, opened.skeleton), opened.skeleton, workshop, own)
    record = document.beside(document.content.workshop.record)
    shops = [workshop, *(o.workshop for o in own.values() if o.workshop is not None)]
    values = [to_bytes(v) for v in (opened.skeleton, workshop, asked, own, [pace_of(w, record) for w in shops])]
    sculpt = [p.name.encode() for p in opened.sculpt.paths] + list(opened.sculpt.data)
    pieces = piece_bytes(document) if document.content.pieces else ()
    worn = locker_bytes(document, opened.skeleton) + tool_bytes(document)
    return "blake2b:" + key_of("make", document.text.encode(), *sculpt, *values, *pieces, worn)
