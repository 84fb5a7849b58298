"""Feet made to stand: soles flattened, a hole for a display base, pockets for ballast or a magnet; and the base itself.

All of it is cut into the finished parts. Pockets are closed rooms, filled while the print is paused and then printed over, so
that what is inside is held by the part and by nothing else; a vent narrower than anything in it leads out through the sole.
A swallowed magnet can kill: a figure for a child gets none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from condyle.errors import UsageError
from condyle.figure.kit import Kit, Part
from condyle.finding import Finding, Point
from condyle.geometry.bvh import Bvh
from condyle.geometry.frame import Frame
from condyle.geometry.mesh import FloatArray
from condyle.geometry.primitives import cylinder, frustum
from condyle.geometry.sections import section
from condyle.geometry.solid import Solid, subtract, union
from condyle.joints.mechanics.section import bending_nmm, round_bar
from condyle.joints.stock import Stock
from condyle.units import GRAVITY_M_S2

STEEL_G_CM3 = 7.85
MAGNET_G_CM3 = 7.5
"""Neodymium-iron-boron (from memory)."""

_VENT_MM = 0.5
_PLAY_MM = 0.15
_CEILING_MM = 0.2
_NUDGE_N = 1.0
"""A sideways nudge at the crown that a base has to stand up to (common practice, no source)."""

_BASE_TIP_DEG = 15.0
_LEAST_PEG_MM, _MOST_PEG_MM = 2.5, 8.0


@dataclass(frozen=True)
class SoleWishes:
    """What is asked of the soles; by default nothing is done.

    flatten_mm  how much of each sole may be taken away
    base        a plate with a peg for the feet named
    ballast_mm, magnet_mm  diameter and height of what is put in each foot
    child       the figure may come into a child's hands
    """

    flatten_mm: float = 0.0
    base: bool = False
    base_feet: Literal["left", "right", "both"] = "both"
    ballast_mm: tuple[float, float] | None = None
    magnet_mm: tuple[float, float] | None = None
    child: bool = False

    @property
    def nothing(self) -> bool:
        return not (self.flatten_mm or self.base or self.ballast_mm or self.magnet_mm)


@dataclass(frozen=True)
class Lump:
    """Something heavy in a part: mass in g and its middle, figure coordinates at rest."""

    part: str
    mass_g: float
    middle: Point


@dataclass(frozen=True, eq=False)
class Soled:
    """The kit with its feet made, the base (figure coordinates, its top under the soles) and what lies in the feet."""

    kit: Kit
    base: Solid | None
    lumps: tuple[Lump, ...]
    findings: tuple[Finding, ...]


def feet_of(kit: Kit) -> tuple[str, ...]:
    """The parts on which the sculpt stands: those within half a millimetre of the lowest point."""
    lows = {p.name: float(p.solid.bounds[0, 2]) for p in kit.parts}
    return tuple(sorted(n for n, z in lows.items() if z <= min(lows.values()) + 0.5))


def make_soles(
    kit: Kit, wishes: SoleWishes, stock: Stock, mass_g: float, centre: FloatArray, peg_clearance_mm: float
) -> Soled:
    """Do what is asked, in this order: flatten, pockets, base.

    mass_g and centre (3,) are those of the whole figure at rest; they size the base and its peg. UsageError
    ``stand.child`` for a magnet or ballast in a child's figure.
    """
    if wishes.child and (wishes.magnet_mm or wishes.ballast_mm):
        raise UsageError(
            "stand.child", "a figure for a child takes no magnet and no ballast: swallowed magnets can kill"
        )
    parts = {p.name: p.solid for p in kit.parts}
    feet = feet_of(kit)
    findings: list[Finding] = []
    lumps: list[Lump] = []
    before = sum(parts[f].volume_mm3 for f in feet)
    if wishes.flatten_mm > 0.0:
        findings += _flatten(parts, feet, wishes.flatten_mm)
    for what, size, density in (
        ("ballast", wishes.ballast_mm, STEEL_G_CM3),
        ("magnet", wishes.magnet_mm, MAGNET_G_CM3),
    ):
        if size is not None:
            for foot in feet:
                lump, finding = _pocket(parts, foot, what, size, density, stock)
                findings.append(finding)
                lumps += [lump] if lump is not None else []
    base = None
    if wishes.base:
        chosen = [f for f in feet if wishes.base_feet == "both" or f.endswith("_" + wishes.base_feet)] or list(feet)
        base, found = _base(parts, feet, chosen, stock, mass_g, centre, peg_clearance_mm)
        findings += found
    taken = before - sum(parts[f].volume_mm3 for f in feet)
    made = tuple(Part(p.name, p.bone, parts[p.name]) for p in kit.parts)
    balance = replace(kit.balance, parts_mm3=kit.balance.parts_mm3 - taken, voids_mm3=kit.balance.voids_mm3 + taken)
    return Soled(replace(kit, parts=made, balance=balance), base, tuple(lumps), tuple(findings))


def _flatten(parts: dict[str, Solid], feet: Sequence[str], budget_mm: float) -> list[Finding]:
    """One level cut through all soles, as shallow as leaves nine tenths of the flat that the whole budget would give."""
    low = min(float(parts[f].bounds[0, 2]) for f in feet)

    def area(foot: str, depth: float) -> float:
        level = Frame(np.array([0.0, 0.0, low + depth]), np.eye(3))
        return section(parts[foot].mesh, level).area_mm2

    depths = np.linspace(budget_mm / 12.0, budget_mm, 12)
    most = {f: area(f, budget_mm) for f in feet}
    chosen = budget_mm
    for depth in depths:
        if all(area(f, float(depth)) >= 0.9 * most[f] for f in feet):
            chosen = float(depth)
            break
    out = []
    for foot in feet:
        had = area(foot, 0.02)
        parts[foot] = parts[foot].trimmed((0.0, 0.0, 1.0), low + chosen)
        middle = parts[foot].bounds.mean(axis=0)
        out.append(
            Finding(
                "stand.flattened",
                foot,
                "pass",
                round(chosen, 3),
                budget_mm,
                f"mm taken; flat {had:.0f} to {area(foot, chosen + 0.02):.0f} mm²",
                (float(middle[0]), float(middle[1]), low + chosen),
            )
        )
    return out


def _spot(solid: Solid, height_mm: float) -> tuple[FloatArray, float] | None:
    """The middle (2,) and radius of the largest circle in the foot at a height over its sole."""
    low = float(solid.bounds[0, 2])
    region = section(solid.mesh, Frame(np.array([0.0, 0.0, low + height_mm]), np.eye(3)))
    if region.empty:
        return None
    middle, radius = region.inscribed_circle()
    return middle, float(radius)


def _pocket(
    parts: dict[str, Solid], foot: str, what: str, size: tuple[float, float], density: float, stock: Stock
) -> tuple[Lump | None, Finding]:
    """A closed round room in a foot, with its vent."""
    diameter, height = size
    solid = parts[foot]
    low = float(solid.bounds[0, 2])
    floor = max(0.8, stock.wall_mm) + 0.05
    radius, top = 0.5 * diameter + _PLAY_MM, floor + height + _CEILING_MM
    caution = (
        "; a swallowed magnet can kill: never for a child, and look at the foot from time to time"
        if what == "magnet"
        else ""
    )
    check = f"stand.{what}"
    spot = _spot(solid, floor + 0.5 * height)
    if stock.process == "resin":
        words = f"a closed pocket traps resin: print this foot in filament, or leave the {what} out"
        return None, Finding(check, foot, "fail", None, diameter, "mm", advice=words)
    wall = -1.0 if spot is None else _wall_around(solid, spot[0], radius, low + floor, low + top)
    if spot is None or wall < stock.wall_mm - 0.01:
        words = (
            f"a pocket of {diameter:g} × {height:g} mm leaves {max(wall, 0.0):.2f} mm of wall: take a smaller {what}"
        )
        return None, Finding(check, foot, "fail", round(max(wall, 0.0), 3), stock.wall_mm, "mm", None, words)
    x, y = float(spot[0][0]), float(spot[0][1])
    room = cylinder(radius, low + floor, low + top, "outside").translated((x, y, 0.0))
    vent = cylinder(_VENT_MM, low - 0.5, low + floor + 0.1, "outside").translated((x, y, 0.0))
    parts[foot] = subtract(solid, [union([room, vent], "pocket")], f"{foot} with a pocket")
    mass = 0.25 * math.pi * diameter**2 * height * density * 1e-3
    middle = (x, y, low + floor + 0.5 * height)
    finding = Finding(
        check,
        foot,
        "caution" if what == "magnet" else "pass",
        round(wall, 3),
        stock.wall_mm,
        f"mm of wall; pause the print {top:.1f} mm over the sole, put in {mass:.1f} g and print on",
        middle,
        "printed sole down; held by the part itself, no glue" + caution if what == "magnet" else "",
    )
    return Lump(foot, mass, middle), finding


def _wall_around(solid: Solid, middle: FloatArray, radius: float, bottom: float, top: float) -> float:
    """The thinnest wall around and above a round room: measured from its own skin to the foot's."""
    turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    points = [
        np.column_stack([middle + r * ring, np.full(len(ring), z)])
        for z in np.linspace(bottom, top, 6)
        for r in ((radius,) if z < top else (radius, 0.5 * radius, 0.0))
    ]
    return -float(Bvh(solid.mesh).signed_distance(np.concatenate(points)).max())


def _base(
    parts: dict[str, Solid],
    feet: Sequence[str],
    chosen: Sequence[str],
    stock: Stock,
    mass_g: float,
    centre: FloatArray,
    clearance_mm: float,
) -> tuple[Solid | None, list[Finding]]:
    """A round plate under the feet with a peg into each chosen sole, and the holes for them.

    The plate reaches so far that the figure on it tips at 15 degrees, and beyond the feet; the peg bears, twice over and
    across its layers, the figure's own moment at that tilt and a nudge of 1 N at its crown.
    """
    low = min(float(parts[f].bounds[0, 2]) for f in feet)
    tall = max(float(s.bounds[1, 2]) for s in parts.values()) - low
    high = float(centre[2]) - low
    weight = mass_g * 1e-3 * GRAVITY_M_S2
    moment = (weight * high * math.tan(math.radians(_BASE_TIP_DEG)) + _NUDGE_N * tall) / len(chosen)
    diameter = _LEAST_PEG_MM
    # Printed upright, a peg is bent across its layers, which bear about half (doi 10.1089/3dp.2020.0109).
    while diameter < _MOST_PEG_MM and bending_nmm(round_bar(diameter), 0.5 * stock.yield_mpa) < 2.0 * moment:
        diameter += 0.25
    findings: list[Finding] = []
    pegs: list[Solid] = []
    thick = max(2.0, 0.03 * tall)
    for foot in chosen:
        own = float(parts[foot].bounds[0, 2])
        found = _peg_room(parts[foot], diameter, stock.wall_mm, clearance_mm)
        if isinstance(found, float):
            words = f"the sole takes a peg of {found:.1f} mm at most beside ankle and pocket: too thin to bear"
            findings.append(Finding("stand.base", foot, "fail", round(found, 2), _LEAST_PEG_MM, "mm", None, words))
            continue
        spot, size, deep = found
        x, y = float(spot[0]), float(spot[1])
        hole = cylinder(size / 2 + clearance_mm, own - 0.5, own + deep + 0.4, "outside").translated((x, y, 0.0))
        mouth = frustum(size / 2 + clearance_mm + 0.3, own - 0.3, size / 2 + clearance_mm, own + 0.3, "outside")
        parts[foot] = subtract(parts[foot], [union([hole, mouth.translated((x, y, 0.0))], "peg hole")], f"{foot} bored")
        tip = frustum(size / 2, low + deep - 0.5, size / 2 - 0.4, low + deep)
        peg = union([cylinder(size / 2, low - 0.5 * thick, low + deep - 0.5), tip], "peg")
        pegs.append(peg.translated((x, y, 0.0)))
        bears = bending_nmm(round_bar(size), 0.5 * stock.yield_mpa)
        findings.append(
            Finding(
                "stand.base",
                foot,
                "pass" if bears >= 2.0 * moment else "caution",
                round(bears / moment, 2),
                2.0,
                f"times the tip moment of {moment:.0f} N·mm; peg {size:.2f} mm, {deep:.1f} mm deep",
                (x, y, own),
                "" if bears >= 2.0 * moment else "the sole has no room for a thicker peg: use both feet, or a wire",
            )
        )
    if not pegs:
        return None, findings
    at = np.asarray(centre)[:2]
    reach = max(float(np.linalg.norm(parts[f].mesh.vertices[:, :2] - at, axis=1).max()) for f in feet)
    radius = max(reach + 2.0, (high + thick) * math.tan(math.radians(_BASE_TIP_DEG)))
    plate = union(
        [cylinder(radius, low - thick, low - 0.6), frustum(radius, low - 0.6, radius - 0.6, low)], "plate"
    ).translated((float(at[0]), float(at[1]), 0.0))
    told = f"mm across, {thick:.1f} thick; it lies on no plate of the kit: print it by itself, flat side down"
    low_point = (float(at[0]), float(at[1]), low - thick)
    findings.append(Finding("stand.base_plate", "base", "pass", round(2.0 * radius, 1), unit=told, place=low_point))
    return union([plate, *pegs], "base"), findings


def _peg_room(solid: Solid, diameter: float, wall: float, clearance: float) -> tuple[FloatArray, float, float] | float:
    """Where the peg goes, how thick and how deep: the thickest up to ``diameter`` with a wall all around its hole.

    A number alone is the thickest that would go in, where that is too thin.
    """
    own, tall = float(solid.bounds[0, 2]), float(np.ptp(solid.bounds[:, 2]))
    best = 0.0
    for size in np.arange(diameter, 0.9, -0.25):
        for share in (1.5, 1.2, 0.9):
            deep = min(share * float(size), 0.5 * tall)
            spot = _spot(solid, 0.5 * deep)
            if spot is None or spot[1] < 0.5 * size + clearance + wall:
                continue
            bore = 0.5 * float(size) + clearance
            if _wall_around(solid, spot[0], bore, own + wall, max(own + wall + 0.1, own + deep + 0.4)) >= wall - 0.01:
                best = max(best, float(size))
                if size >= _LEAST_PEG_MM:
                    return spot[0], float(size), deep
    return best
