"""A grip in a hand: a bore for a handle, and a mouth through which the fingers spring around it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import Kit, Part
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import Frame, frame_from_zx
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import box, cylinder
from condyle.geometry.solid import Solid, overlap, remainder, union
from condyle.joints.mechanics.ball_socket import ball_passing_force_n
from condyle.joints.mechanics.clip import Arm, clip_arm
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

HAND_N = 40.0
"""What a hand pushes without a tool (common practice, no source)."""

LEAST_LIP_MM = 0.05
"""A mouth that is not at least this much narrower than the handle on either side lets it fall out."""

_ANGLES = 37
_SLICE_MM = 0.4
_BACK = 9
_NARROWEST = 0.6


@dataclass(frozen=True)
class Grip:
    """What is asked of one hand (figure coordinates, mm).

    opening       direction from the handle to the mouth; None leaves the bore closed, and the handle goes in along it
    clearance_mm  per side between handle and bore; None takes the workshop's fit for pegs
    mouth_mm      width of the mouth; None takes the narrowest that the material springs over
    slit_mm       how far a slit runs on behind the bore, so that stiff fingers spring further; 0 for none
    """

    part: str
    handle_mm: float
    point: Point
    axis: Point
    opening: Point | None = None
    clearance_mm: float | None = None
    mouth_mm: float | None = None
    slit_mm: float = 0.0


@dataclass(frozen=True)
class CutGrip:
    """A grip as it was cut: the mouth's width (0 for none), what each side springs, and the push that this takes."""

    grip: Grip
    clearance_mm: float
    mouth_mm: float
    lip_mm: float
    strain: float | None
    push_n: float | None

    @property
    def frame(self) -> Frame:
        """z along the handle, x towards the mouth."""
        axis = np.asarray(self.grip.axis)
        hint = self.grip.opening or ((1.0, 0.0, 0.0) if abs(axis[0]) < 0.8 * np.linalg.norm(axis) else (0.0, 1.0, 0.0))
        return frame_from_zx(np.asarray(self.grip.point), axis, np.asarray(hint))


def with_grip(kit: Kit, grip: Grip, fits: Fits, stock: Stock) -> tuple[Kit, CutGrip | None]:
    """The kit with one hand bored; None where nothing could be cut, with a fail that says why.

    The bore runs through the whole hand; the mouth is cut from it straight to the outside. Strain and push are those of a
    split ring whose arms are as thick as the hand is there (mechanics/clip.py).
    """
    part = next((p for p in kit.parts if p.name == grip.part), None)
    if part is None:
        advice = f"no part of the kit is called {grip.part}"
        return _told(kit, Finding("grip.bore", grip.part, "fail", advice=advice)), None
    usual = fits.get("peg", grip.handle_mm).clearance_mm
    clearance = max(usual if grip.clearance_mm is None else grip.clearance_mm, -0.2)
    cut = CutGrip(grip, clearance, 0.0, 0.0, None, None)
    frame, radius = cut.frame, grip.handle_mm / 2.0 + clearance
    local = part.solid.transformed(frame.inverse)
    reach = float(np.abs(local.bounds).max()) + 1.0
    bore = cylinder(radius, -reach, reach, "outside")
    hand = remainder(local, [bore])
    if overlap(local, bore) is None or hand is None:
        advice = "the handle does not pass through this part: move point, or turn axis"
        return _told(kit, Finding("grip.bore", grip.part, "fail", place=grip.point, advice=advice)), None
    findings: list[Finding] = []
    if grip.opening is not None:
        hand = hand if grip.slit_mm == 0.0 else remainder(hand, [_slit(grip.slit_mm, radius, reach, stock)])
        if hand is None or len(hand.components()) > 1:
            advice = "the slit parts the hand: a shorter slit_mm, or a thicker palm"
            return _told(kit, Finding("grip.bore", grip.part, "fail", place=grip.point, advice=advice)), None
        cut, told = _sprung(hand, cut, radius, stock)
        findings += told
        hand = remainder(hand, [box((0.0, -cut.mouth_mm / 2, -reach), (reach, cut.mouth_mm / 2, reach))])
    whole = None if hand is None else hand.components()
    if whole is None or (len(whole) > 1 and whole[1].volume_mm3 > 0.5):
        lost = "most of the hand" if whole is None else f"{sum(s.volume_mm3 for s in whole[1:]):.1f} mm³ of it"
        shorter = "a shorter slit_mm, " if grip.slit_mm > 0.0 else ""
        advice = f"bore and mouth would cut off {lost}: {shorter}a thinner handle, another opening, or thicker fingers"
        return _told(kit, Finding("grip.bore", grip.part, "fail", place=grip.point, advice=advice)), None
    made = Part(part.name, part.bone, whole[0].transformed(frame.matrix), part.workshop, part.build_up)
    took = part.solid.volume_mm3 - made.solid.volume_mm3
    findings.append(Finding("grip.bore", grip.part, "pass", measured=took, unit="mm³", place=grip.point))
    balance = replace(
        kit.balance, parts_mm3=kit.balance.parts_mm3 - took, voids_mm3=kit.balance.voids_mm3 + took
    )  # fmt: skip
    parts = tuple(made if p.name == part.name else p for p in kit.parts)
    return _told(replace(kit, parts=parts, balance=balance), *findings), cut


def _told(kit: Kit, *findings: Finding) -> Kit:
    return replace(kit, findings=(*kit.findings, *findings))


def _sprung(hand: Solid, cut: CutGrip, radius: float, stock: Stock) -> tuple[CutGrip, list[Finding]]:
    """The mouth, as narrow as the hand springs over or as asked, and what is told about it."""
    grip = cut.grip
    ring = _measured(hand, radius, grip.slit_mm, _slit_mm(stock))
    shares = np.arange(_NARROWEST, 1.0, 0.01)
    widths = [grip.mouth_mm] if grip.mouth_mm is not None else [float(s) * grip.handle_mm for s in shares]
    found: tuple[float, float, float] | None = None
    for width in widths:
        lip = 0.5 * (grip.handle_mm - width)
        arms = _arms(ring, width, stock)
        give = sum(a.mm_per_n for a in arms)
        force = 2.0 * max(lip, 0.0) / give if math.isfinite(give) else 0.0
        strain = force * max(a.strain_per_n for a in arms)
        found = (width, strain, 4.0 / give if math.isfinite(give) else 0.0)
        if strain <= stock.strain:
            break
    assert found is not None
    width, strain, stiffness = found
    lip = max(0.0, 0.5 * (grip.handle_mm - width))
    push = _push_n(grip.handle_mm, lip, stiffness, stock.friction)
    cut = replace(cut, mouth_mm=width, lip_mm=lip, strain=strain, push_n=push)
    return cut, _judged(cut, stock)


def _judged(cut: CutGrip, stock: Stock) -> list[Finding]:
    grip, at, name = cut.grip, cut.grip.point, cut.grip.part
    assert cut.strain is not None and cut.push_n is not None
    over = cut.strain > stock.strain
    wider = "ask for no mouth_mm, or for a wider one" if grip.mouth_mm is not None else "thinner fingers"
    holds = cut.lip_mm >= LEAST_LIP_MM
    heavy = cut.push_n > HAND_N
    return [
        Finding(
            "grip.spring", name, "fail" if over else "pass", measured=cut.strain, target=stock.strain, unit="", place=at,
            advice=f"the fingers crack as the handle goes in: {wider}, or a tougher material" if over else "",
        ),
        Finding(
            "grip.lip", name, "pass" if holds else "caution", measured=cut.lip_mm, target=LEAST_LIP_MM, unit="mm", place=at,
            advice="" if holds else "the fingers are too stiff to close over the handle, which will fall out: thin them, give "
            "them a slit behind the bore (slit_mm), or leave opening out and push the handle in along the bore",
        ),
        Finding(
            "grip.insertion", name, "caution" if heavy else "pass", measured=cut.push_n, target=HAND_N, unit="N", place=at,
            advice="it takes a tool to push the handle in: a wider mouth_mm" if heavy else "",
        ),
    ]  # fmt: skip


def _push_n(handle_mm: float, lip_mm: float, stiffness_n_mm: float, friction: float) -> float:
    """A handle between two lips rides up on them as a ball does on its fingers, with the stiffness of both together."""
    if lip_mm <= 0.0 or stiffness_n_mm <= 0.0:
        return 0.0
    lip_deg = math.degrees(math.acos(1.0 - 2.0 * lip_mm / handle_mm))
    return ball_passing_force_n(stiffness_n_mm, handle_mm, lip_deg, friction)


def _slit_mm(stock: Stock) -> float:
    return max(stock.gap_mm, 0.3)


def _slit(depth: float, radius: float, reach: float, stock: Stock) -> Solid:
    """The slit behind the bore; a round end keeps it from tearing on."""
    wide = _slit_mm(stock)
    eye = cylinder(0.7 * wide, -reach, reach, "outside").translated((-radius - depth + 0.7 * wide, 0.0, 0.0))
    return union([box((-radius - depth + 0.7 * wide, -wide / 2, -reach), (0.0, wide / 2, reach)), eye], "slit")


@dataclass(frozen=True, eq=False)
class _Ring:
    """Flesh around a bore: thickness (2, n, m) on either side at angles (n,) from the back, in m slices along the handle; and
    along a slit, at distances (k,) behind the bore, (2, k, m)."""

    radius: float
    slice_mm: float
    angles: FloatArray
    thick: FloatArray
    back: FloatArray | None
    back_thick: FloatArray | None


def _measured(hand: Solid, radius: float, slit_mm: float, slit_wide: float) -> _Ring:
    vertices = hand.mesh.vertices
    near = vertices[np.linalg.norm(vertices[:, :2], axis=1) < 1.2 * radius, 2]
    low, high = (float(near.min()), float(near.max())) if len(near) else (-1.0, 1.0)
    count = max(2, math.ceil((high - low) / _SLICE_MM))
    slice_mm = (high - low) / count
    heights = np.asarray(low + slice_mm * (np.arange(count) + 0.5), dtype=np.float64)
    bvh = Bvh(hand.mesh)
    first = math.degrees(math.asin(0.5 * slit_wide / radius)) + 2.0 if slit_mm > 0.0 else 0.0
    degrees = np.linspace(first, 180.0, _ANGLES)
    psi = np.radians(degrees)
    sides = []
    for sense in (1.0, -1.0):
        ways = np.stack([-np.cos(psi), sense * np.sin(psi), np.zeros(_ANGLES)], axis=1)
        sides.append(_through(bvh, np.zeros((_ANGLES, 3)), ways, heights, radius + 0.1))
    if slit_mm <= 0.0:
        return _Ring(radius, slice_mm, degrees, np.stack(sides), None, None)
    back = np.linspace(0.0, slit_mm, _BACK)
    starts = np.stack([-radius - np.minimum(back, slit_mm - 0.05), np.zeros(_BACK), np.zeros(_BACK)], axis=1)
    beside = [
        _through(bvh, starts, np.broadcast_to([0.0, sense, 0.0], (_BACK, 3)), heights, slit_wide) for sense in (1.0, -1.0)
    ]  # fmt: skip
    return _Ring(radius, slice_mm, degrees, np.stack(sides), back, np.stack(beside))


def _through(bvh: Bvh, starts: FloatArray, ways: FloatArray, heights: FloatArray, within_mm: float) -> FloatArray:
    """How much flesh rays meet next (n, m), from starts (n, 3) in an opening, at each height; 0 where it is not next to it."""
    count = len(heights)
    origins = np.repeat(starts[:, None], count, axis=1)
    origins[:, :, 2] = heights
    directions = np.repeat(np.asarray(ways)[:, None], count, axis=1)
    ray, far, _ = bvh.all_hits(origins.reshape(-1, 3), directions.reshape(-1, 3))
    out = np.zeros(len(starts) * count)
    for k in range(len(out)):
        hits = np.sort(far[ray == k])
        # A ray along an edge meets both of its triangles.
        beyond = hits[hits > hits[0] + 1e-6] if len(hits) else hits
        if len(beyond) and hits[0] < within_mm:
            out[k] = beyond[0] - hits[0]
    return out.reshape(len(starts), count)


def _arms(ring: _Ring, width: float, stock: Stock) -> list[Arm]:
    """Both arms, cut off where the mouth of a width begins."""
    tip = 180.0 - math.degrees(math.asin(min(1.0, 0.5 * width / ring.radius)))
    keep = max(3, int(np.searchsorted(ring.angles, tip)))
    out = []
    for side in (0, 1):
        behind = None if ring.back_thick is None else ring.back_thick[side]
        thick = ring.thick[side, :keep]
        out.append(
            clip_arm(ring.radius, ring.angles[:keep], thick, ring.slice_mm, stock.modulus_mpa, ring.back, behind)
        )
    return out
