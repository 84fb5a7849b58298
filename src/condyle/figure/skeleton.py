"""The skeleton: a tree of bones and joints, independent of any sculpt; and a joint seated in one.

Bones carry the names of the parts that are printed. The root is the bone without a parent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from condyle.finding import Point
from condyle.geometry.frame import Frame

if TYPE_CHECKING:
    from condyle.joints.custom import OwnJoint

Kind = Literal["ball", "hinge", "swivel", "double_hinge", "peg", "custom"]
Motion = Literal["flex", "abduct", "twist"]
Side = Literal["left", "right", "middle"]
Range = tuple[float, float]
Form = Literal["spindle", "egg", "pear", "barrel", "paddle", "wedge", "paw"]

MOTIONS: dict[Kind, tuple[Motion, ...]] = {
    "ball": ("flex", "abduct", "twist"),
    "hinge": ("flex",),
    "swivel": ("twist",),
    "double_hinge": ("flex",),
    "peg": (),
    "custom": ("flex", "abduct", "twist"),
}


@dataclass(frozen=True)
class Bone:
    """A bone, named as the part that it becomes. ``parent`` is None for the root.

    tip    where a bone without a further joint ends, fractions of the height as a joint's centre; None lets it go on
    form   the turned form that it takes in a lay figure; None takes what suits its joints
    """

    name: str
    parent: str | None
    tip: tuple[float, float, float] | None = None
    form: Form | None = None


@dataclass(frozen=True)
class JointSpec:
    """A joint as a skeleton file states it.

    centre    fractions of the figure's height, figure coordinates (x forward, y left, z up from the soles), arms hanging
    forward   which way the child's far end goes for a positive flex: +1 to the front, -1 to the back (knees)
    size      a size of the family's series in mm, or None to take the largest that fits
    wanted    degrees by motion, measured from the human zero (standing, arms hanging, palms in)
    yields    which side gives way where relief is needed; of both the round one first
    convex    which side's end is round at the cut (the other is hollow); None lets the room decide
    seam_mm   how far the cut may travel along the limb to meet a costume seam; 0 keeps it where it is
    custom    the maker's own hardware, for the kind ``custom``
    thick     radius of the flesh around the joint in a lay figure or guide, as a fraction of the height
    stance    the angles in which the lay figure and the guide stand, degrees from the human zero
    detent_deg  degrees from rest to rest of a hinge with detents; 0 for none
    follows   by motion, the joint that this one has to make good for, as an ankle's roll does for the hip's abduction
    """

    name: str
    kind: Kind
    parent: str
    child: str
    centre: tuple[float, float, float]
    forward: int = 1
    size: float | None = None
    wanted: dict[Motion, Range] = field(default_factory=dict)
    yields: Literal["parent", "child", "both"] = "both"
    convex: Literal["parent", "child"] | None = None
    seam_mm: float = 0.0
    custom: OwnJoint | None = None
    thick: float | None = None
    stance: dict[Motion, float] = field(default_factory=dict)
    follows: dict[Motion, str] = field(default_factory=dict)
    detent_deg: float = 0.0

    @property
    def side(self) -> Side:
        for side in ("left", "right"):
            if self.name.endswith("_" + side):
                return side
        return "middle"


DETENTED: tuple[Kind, ...] = ("hinge", "double_hinge")
"""The families that may have detents."""


def motions_of(spec: JointSpec) -> tuple[Motion, ...]:
    """The motions that a joint has: those of its family, or of the maker's own hardware."""
    return MOTIONS[spec.kind] if spec.custom is None else spec.custom.motions


@dataclass(frozen=True)
class Arrangement:
    """A few joints that act as one joint of the body does; see arrangement.py for the rule.

    joints  from the trunk outwards, each the next one's parent
    whole   the range of the human joint, degrees by motion
    share   by motion, what each of the joints takes of it (0 to 1); what is missing to 1 is a part that the figure leaves out
    """

    name: str
    joints: tuple[str, ...]
    whole: dict[Motion, Range]
    share: dict[Motion, tuple[float, ...]]


@dataclass(frozen=True)
class Skeleton:
    """Bones and joints; every joint's parent and child are bones, and the child's parent is the joint's parent."""

    name: str
    bones: tuple[Bone, ...]
    joints: tuple[JointSpec, ...]
    height_mm: float = 150.0
    arrangements: tuple[Arrangement, ...] = ()

    def bone(self, name: str) -> Bone:
        return next(b for b in self.bones if b.name == name)

    def joint(self, name: str) -> JointSpec:
        return next(j for j in self.joints if j.name == name)

    @property
    def root(self) -> Bone:
        return next(b for b in self.bones if b.parent is None)


@dataclass(frozen=True, eq=False)
class SeatedJoint:
    """A joint with its place in a sculpt.

    frame      the design's joint frame in figure mm: origin at the centre, z towards the child along the limb, x the
               axis of flexion, y = z × x
    cut_axis   unit vector (figure coordinates) square to the cut, pointing to the child; equals frame.z along limbs,
               differs at shoulders and hips, where the limb does not leave the body along itself
    rest       the angles (degrees) in which the sculpt stands, from the human zero, by motion: angle 0 of ``wanted`` and
               ``reached`` in proof.json is the sculpt's pose, so ranges are shifted by these
    source     seated (found from the geometry), hand (figure.toml), skin (joints of a skinned file)
    sd_mm      how sure the place is
    """

    spec: JointSpec
    frame: Frame
    cut_axis: Point
    rest: dict[Motion, float] = field(default_factory=dict)
    source: Literal["seated", "hand", "skin"] = "seated"
    sd_mm: float = 0.0

    @property
    def name(self) -> str:
        return self.spec.name

    @cached_property
    def axes(self) -> Mapping[Motion, Point]:
        """Rotation axes in figure coordinates, right-handed, by motion; the right side mirrors the left.

        A positive angle moves: flex, the child's far end as ``spec.forward`` says; abduct, away from the midline (to the
        figure's left for joints on the midline); twist, the front of the child inward (to the left on the midline).
        """
        mirror = -1.0 if self.spec.side == "right" else 1.0
        # Abduction of a hanging left limb and leftward bend of an upright middle joint are the two senses of y.
        sense = -mirror if self.spec.side != "middle" else 1.0
        x, y, z = self.frame.x, self.frame.y * sense * self.spec.forward, self.frame.z * mirror
        vectors = {"flex": x, "abduct": y, "twist": z}
        return {m: (float(vectors[m][0]), float(vectors[m][1]), float(vectors[m][2])) for m in motions_of(self.spec)}
