"""What to print spare, and how a broken stud comes out."""

from __future__ import annotations

from dataclasses import dataclass

from condyle.figure.kit import Kit


@dataclass(frozen=True)
class Spare:
    """A part worth printing twice: why, and how what is left of it comes out when it breaks."""

    part: str
    joint: str
    why: str
    comes_out: str


MOST = 6


def spares(kit: Kit) -> tuple[Spare, ...]:
    """The parts most likely to break at a joint, the most strained first.

    Ranked by the snap strain on the way in, then by how thin the stud or pin is: what has to bend most and what is
    thinnest goes first. Common practice, no source.
    """
    rated = []
    for joint in kit.joints:
        if not joint.built or not joint.axles:
            continue
        size = joint.pin_mm[0] if joint.pin_mm else joint.size_mm or 0.0
        rated.append((-(joint.snap_strain or 0.0), size, joint))
    rated.sort(key=lambda r: (r[0], r[1], r[2].name))
    out: list[Spare] = []
    for strain, size, joint in rated:
        name = joint.axles[-1].moves
        if any(s.part == name for s in out):
            continue
        if joint.pin_mm is not None:
            why = f"its pin is only {size:.3g} mm thick: keep spare pins of {size:.3g} × {joint.pin_mm[1]:.3g} mm"
            comes_out = (
                "push the rest of the pin out from its blind end with a rod a little thinner; drill it if it was glued"
            )
        else:
            why = f"its lip bends by {-100 * strain:.1f} % on the way in" if strain else f"its stud is {size:.3g} mm"
            comes_out = (
                "drill a 1 mm hole into the stump, turn a small screw in, and pull it straight out; a ball left in its "
                "socket comes out the same way. Clamp the part, wear glasses, drill away from the hand"
            )
        out.append(Spare(name, joint.name, why, comes_out))
    return tuple(out[:MOST])
