"""Fine seating: a joint that was found moves to where its limb holds hardware best, and its axis follows the flesh.

Seating looks at the whole body; this looks at the few millimetres around each joint. Joints set by hand or taken from a
skinned file are left as they are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from condyle.figure.parting.site import Site, cut_frame
from condyle.figure.skeleton import SeatedJoint
from condyle.geometry.frame import Frame, frame_from_zx, unit
from condyle.geometry.locality import Locality
from condyle.geometry.mesh import FloatArray

_MOST = 0.016  # of the figure's height
_TURN_DEG = 20.0
_CLEARLY = 0.72  # of the section where the joint was seated: less is a seam and not just the limb's taper


def settled(joint: SeatedJoint, locality: Locality, height_mm: float, seam_mm: float) -> SeatedJoint:
    """The joint at the middle of its limb.

    ``seam_mm`` is how far the cut may travel along the limb to a costume seam: the groove or the thin side of a step (a
    cuff, a belt, a boot top) where the limb's section is smallest, if it is clearly smaller than where it was seated.

    Balls that leave the body at an angle (shoulders, hips) also move along the cut axis to the narrowest section near
    by. Swivels turn their axis to the line through the middles of the limb around them.
    """
    if joint.source != "seated":
        return joint
    most = _MOST * height_mm
    origin = joint.frame.origin
    slanting = float(np.asarray(joint.cut_axis) @ joint.frame.z) < 0.985
    if joint.spec.kind == "ball" and slanting:
        origin = _narrowest(Site(cut_frame(joint, origin), locality), most)
    elif seam_mm > 0.0:
        origin = _seam(Site(cut_frame(joint, origin), locality), seam_mm)
    site = Site(cut_frame(joint, origin), locality)
    origin = _middle(site, most, origin)
    if joint.spec.kind in ("swivel", "hinge", "double_hinge", "peg"):
        return _along(replace(joint, frame=replace(joint.frame, origin=origin)), locality)
    return replace(joint, frame=replace(joint.frame, origin=origin))


def limb_line(site: Site, z0_mm: float, z1_mm: float) -> tuple[FloatArray, FloatArray] | None:
    """A point and unit direction (outer coordinates) of the line through the limb's middles between two heights.

    The middle of a section is that of its largest inscribed circle, leaving out sections whose middle jumps away from
    the axis by more than the limb is thick (a branch, a heel). None with fewer than three sections.
    """
    points = []
    for z in np.arange(z0_mm, z1_mm + 0.1, 1.0):
        limb = site.at(float(z)).limb
        if limb is None:
            continue
        middle, radius = limb.inscribed_circle()
        if float(np.linalg.norm(middle)) <= 0.8 * radius:
            points.append([middle[0], middle[1], float(z)])
    if len(points) < 3:
        return None
    p = np.array(points)
    slope = np.polyfit(p[:, 2], p[:, :2], 1)
    at = np.array([slope[1, 0], slope[1, 1], 0.0])
    direction = np.array([slope[0, 0], slope[0, 1], 1.0])
    return site.frame.to_outer(at), unit(site.frame.rotation @ direction)


def _narrowest(site: Site, most: float) -> FloatArray:
    """The centre moved along the cut axis, towards the child, to the section with the least reach."""
    best, height = np.inf, 0.0
    for z in np.arange(-1.0, most + 0.01, 0.5):
        limb = site.at(float(z)).limb
        if limb is not None and limb.area_mm2 * (1.0 + 0.02 * abs(z)) < best:
            best, height = limb.area_mm2 * (1.0 + 0.02 * abs(z)), float(z)
    return np.asarray(site.frame.to_outer(np.array([0.0, 0.0, height])))


def _seam(site: Site, reach: float) -> FloatArray:
    """The centre moved along the limb to the smallest section within reach, where that is clearly smaller."""
    here = site.at(0.0).limb
    if here is None:
        return site.frame.origin
    best, height = here.area_mm2 * _CLEARLY, 0.0
    for z in np.arange(-np.floor(reach), np.floor(reach) + 0.5, 1.0):
        limb = site.at(float(z)).limb
        if limb is not None and limb.area_mm2 * (1.0 + 0.01 * abs(z)) < best:
            best, height = limb.area_mm2 * (1.0 + 0.01 * abs(z)), float(z)
    return np.asarray(site.frame.to_outer(np.array([0.0, 0.0, height])))


def _middle(site: Site, most: float, from_mm: FloatArray) -> FloatArray:
    """The centre moved within the cut plane to the middle of the limb, at most ``most`` away from where it was found."""
    limb = site.at(0.0).limb
    if limb is None:
        return site.frame.origin
    middle, radius = limb.inscribed_circle()
    if limb.reach((0.0, 0.0)) > 2.5 * max(limb.depth((0.0, 0.0)), 1.0) and float(np.linalg.norm(middle)) > radius:
        return site.frame.origin
    target = site.frame.to_outer(np.array([middle[0], middle[1], 0.0]))
    step = target - from_mm
    length = float(np.linalg.norm(step))
    return np.asarray(target if length <= most else from_mm + step * (most / length))


def _along(joint: SeatedJoint, locality: Locality) -> SeatedJoint:
    """The joint with its z along the limb's own middle line, where that is within 20 degrees of the bone's."""
    site = Site(cut_frame(joint, joint.frame.origin), locality)
    line = limb_line(site, -5.0, 5.0)
    if line is None or float(line[1] @ joint.frame.z) < np.cos(np.radians(_TURN_DEG)):
        return joint
    frame: Frame = frame_from_zx(joint.frame.origin, line[1], joint.frame.x)
    z = frame.z
    return replace(joint, frame=frame, cut_axis=(float(z[0]), float(z[1]), float(z[2])))
