"""A limb by itself is no figure: what of holding, standing and lasting can be asked of it, and what is not judged.

Its grips hold its own weight from its root, its necks bear a finger on its end as they would on the figure (the lever is the
same), its snaps let go as anywhere. Standing, a fall from a table and the figure's poses are not asked; of a joint that was
taken out of its limb the finger is not asked either, since what lies beyond it would make the lever longer.

stand.held  what is not judged, in words; unknown
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from condyle.finding import Finding
from condyle.proof.carry import Carried

Held = Literal["no", "limb", "joint"]

_NOT_JUDGED: dict[Held, tuple[str, str]] = {
    "limb": (
        "last.drop",
        "one limb, held by its root: whether it stands, a fall, and the figure's poses are not judged; its grips are held "
        "against its own weight alone, and legs carry more in a figure",
    ),
    "joint": (
        "last.drop last.finger",
        "joints by themselves, held by their root: whether they stand, a finger's push, a fall, and the figure's poses are not "
        "judged; their grips are held against the weight of these parts alone, and more hangs on them in a figure",
    ),
}


def of_one_limb(carried: Carried, held: Held) -> Carried:
    """The answers that hold for one limb; all of them for a whole figure (``no``)."""
    if held == "no":
        return carried
    left_out, words = _NOT_JUDGED[held]
    findings = [f for f in carried.findings if not f.check.startswith("stand.") and f.check not in left_out.split()]
    told = Finding("stand.held", "figure", "unknown", advice=words)
    return replace(carried, findings=(*findings, told), poses=())
