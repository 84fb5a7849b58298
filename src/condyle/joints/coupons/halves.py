"""Both sides of a real joint in plain blocks, standing as they are printed: mouths up, studs up, nothing to support.

The hardware is what the joint families make for a figure; only the flesh around it is ours. Two things differ from a
figure's joint, and neither touches the bearing: the underside of a ball runs into its neck by a cone as steep as the printer
needs, and the faces beyond the kerf are flat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from condyle.errors import UsageError
from condyle.geometry.mesh import FloatArray
from condyle.geometry.polygons import rectangle
from condyle.geometry.primitives import box, cylinder, frustum, sphere
from condyle.geometry.solid import Solid, intersect, subtract, union
from condyle.joints import ball, double_hinge, hinge, peg, swivel
from condyle.joints.design import Cut, JointDesign
from condyle.joints.stock import Stock
from condyle.workshop.fits import FitKind

SERIES: dict[FitKind, tuple[float, ...]] = {
    "ball": ball.SIZES_MM,
    "hinge": hinge.SIZES_MM,
    "swivel": swivel.SIZES_MM,
    "double_hinge": double_hinge.SIZES_MM,
    "peg": peg.SIZES_MM,
}
"""Sizes that each family comes in."""

BUILD: dict[FitKind, str] = dict.fromkeys(SERIES, "upright") | {"double_hinge": "link lying"}
"""How the halves stand on the plate: the joint's axis upright, or a link on its back."""

_SLAB_MM = 2.0  # least thickness of the foot under a stud
_MARGIN_DEG = 3.0  # steeper than the printer's own limit, since facets are not round
_LEAST_LIP_MM = 0.04  # a lip lower than this is lost in the printer's error
_FORMS: tuple[tuple[ball.Socket, float], ...] = (
    ("slit", 1.4), ("split", 1.4), ("split", 1.8), ("split", 1.05), ("split", 2.2), ("split", 0.8),
)  # fmt: skip
_FLIP = np.diag([1.0, -1.0, -1.0, 1.0])
_LYING = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)
_ON_ITS_BACK = np.array([[1, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Halves:
    """One joint taken apart (mm, each standing on z = 0 about x = y = 0).

    post      the side with the hollow: a socket, or a whole link
    centre_mm height of the joint's centre in the post (of a link: in its middle)
    studs     the sides that go in, faces at z = 0, what is below z = 0 to be held by a slab ``slab_mm`` thick
    """

    kind: FitKind
    size_mm: float
    clearance_mm: float
    post: Solid
    studs: tuple[Solid, ...]
    design: JointDesign
    slab_mm: float
    centre_mm: float = 0.0


def halves(
    kind: FitKind, size_mm: float, drawn_mm: Sequence[float], stock: Stock, overhang_deg: float, kerf_mm: float
) -> tuple[Halves, ...]:
    """A joint of the series at each drawn clearance, ready to print; a ball keeps one form of socket throughout.

    UsageError ``coupon.size`` for a size outside the series, ``coupon.shape`` where the family cannot be made of this
    material at this size and clearance.
    """
    if size_mm not in SERIES[kind]:
        raise UsageError("coupon.size", f"{kind} has no size {size_mm:g} mm",
                         hint="sizes: " + ", ".join(f"{s:g}" for s in SERIES[kind]))  # fmt: skip
    steep = overhang_deg + _MARGIN_DEG
    if kind == "ball":
        form = ball_form(size_mm, drawn_mm, stock)
        return tuple(_ball(kind, size_mm, c, stock, steep, kerf_mm, form) for c in drawn_mm)
    make = {"hinge": _hinge, "swivel": _swivel, "double_hinge": _double_hinge, "peg": _peg}[kind]
    return tuple(make(kind, size_mm, c, stock, steep, kerf_mm) for c in drawn_mm)


def _no_shape(kind: str, size_mm: float, clearance_mm: float) -> UsageError:
    return UsageError(
        "coupon.shape",
        f"a {kind} of {size_mm:g} mm at a clearance of {clearance_mm:+.3f} mm cannot be snapped in this material",
        hint="choose a larger size, or a material that takes more strain",
    )


def _ball(
    kind: FitKind, size: float, clearance: float, stock: Stock, steep_deg: float, kerf: float, form: BallForm
) -> Halves:
    limb = form.post_mm
    shape = ball.shape(size, form.socket, clearance, limb, stock, form.jaw)
    if shape is None:
        raise _no_shape(kind, size, clearance)
    cut = Cut("sphere", round(1.02 * ball.smallest_cut_mm(shape, stock), 2), kerf)
    mouth = max(min(limb, cut.radius_mm) - stock.wall_mm, 0.0)
    design = ball.design(shape, cut, clearance, mouth, max(cut.radius_mm, limb) + 0.3, stock)
    top = max(need.z1 for need in ball.needs(shape, cut, stock)) + 0.3
    if shape.socket == "split":
        top = max(top, shape.root_z + shape.slit + 1.2 * stock.wall_mm)
    post = _post(cylinder(limb, -cut.radius_mm - 1.0, top), design)
    stud = union([_made(design.cup.add), _under_ball(shape, steep_deg)], "ball on its cone")
    return _upright(kind, size, clearance, post, stud, design, ball.root_mm(shape))


@dataclass(frozen=True)
class BallForm:
    """Which socket a ball gets, how deep its jaws run (ball diameters), and the radius of the post around it."""

    socket: ball.Socket
    jaw: float
    post_mm: float


def ball_form(size: float, drawn_mm: Sequence[float], stock: Stock) -> BallForm:
    """One form for a whole ladder, as a roomy limb would get it: fingers where every step has a lip, else jaws.

    UsageError ``coupon.shape`` when no form has a lip at every clearance.
    """
    best: tuple[float, BallForm] | None = None
    for socket, jaw in _FORMS:
        post = 0.5 * size + 1.7 * max(stock.wall_mm, 0.14 * size)
        shapes = [ball.shape(size, socket, c, post, stock, jaw) for c in drawn_mm]
        found = [s for s in shapes if s is not None]
        if len(found) < len(shapes):
            continue
        if socket == "slit":
            post = max(s.ring_outer for s in found) + 1.05 * stock.wall_mm
        form = BallForm(socket, jaw, round(post, 2))
        least = min(s.undercut for s in found)
        if least >= _LEAST_LIP_MM:
            return form
        if best is None or least > best[0]:
            best = (least, form)
    if best is None:
        raise _no_shape("ball", size, min(drawn_mm))
    return best[1]


def _under_ball(s: ball.BallShape, steep_deg: float) -> Solid:
    """The cone that touches the ball where its underside becomes too flat to print, and runs down to the neck."""
    t = math.radians(steep_deg)
    r, z = s.ball * math.sin(t), -s.ball * math.cos(t)
    down = max((r - s.neck) * math.tan(t), 0.05)
    return frustum(min(s.neck, r - 0.01), z - down, r, z)


def _hinge(kind: FitKind, size: float, clearance: float, stock: Stock, steep_deg: float, kerf: float) -> Halves:
    shape = hinge.shape(size, "filament" if stock.process == "filament" else "metal", stock)
    half_x = shape.tongue / 2 + max(shape.ear, 0.35 * size)
    half_y = shape.slot_reach + 1.3 * stock.wall_mm
    cut = Cut("cylinder", round(max(half_y, hinge.smallest_cut_mm(shape, stock)), 2), kerf)
    top = shape.slot_reach + 1.6 * stock.wall_mm
    middle = rectangle((-half_y, -cut.radius_mm), (half_y, top))
    design = hinge.design(shape, cut, clearance, (-45.0, 45.0), (half_x, half_x), 1, stock, middle)
    post = _post(box((-half_x, -half_y, -cut.radius_mm - 1.0), (half_x, half_y, top)), design)
    return _upright(kind, size, clearance, post, _tongue(design), design, hinge.root_mm(shape))


def _double_hinge(kind: FitKind, size: float, clearance: float, stock: Stock, steep_deg: float, kerf: float) -> Halves:
    """The link lies on its back: both slots are open to the skin there, so no roof has to be bridged."""
    shape = hinge.shape(size, "filament" if stock.process == "filament" else "metal", stock)
    half_x = shape.tongue / 2 + max(shape.ear, 0.35 * size)
    half_y = max(0.8 * shape.slot_reach, shape.pin / 2 + 0.1 + 0.8 * stock.wall_mm)
    radius = max(hinge.smallest_cut_mm(shape, stock), half_y / math.cos(math.radians(steep_deg)))
    cut = Cut("cylinder", round(radius, 2), kerf)
    half_gap = 0.5 * double_hinge.spacing_mm(shape, stock)
    end = half_gap + cut.radius_mm
    middle = rectangle((-half_y, -cut.radius_mm), (half_y, 2.0 * end))
    design = hinge.design(shape, cut, clearance, (-45.0, 45.0), (half_x, half_x), 1, stock, middle)
    flesh = box((-half_x, -half_y, -end - 1.0), (half_x, half_y, end + 1.0))
    for matrix in (_moved(-half_gap), _moved(half_gap) @ _FLIP):
        kept = union([_beyond(design.cut).transformed(matrix)])
        flesh = intersect(flesh, kept, "link")
        flesh = subtract(flesh, [t.transformed(matrix) for t in _cavities(design)], "link")
    studs = (_footed(_tongue(design), cut.cup_mm),) * 2
    return Halves(kind, size, clearance, _standing(flesh.transformed(_ON_ITS_BACK)), studs, design,
                  max(_SLAB_MM, hinge.root_mm(shape)))  # fmt: skip


def _swivel(kind: FitKind, size: float, clearance: float, stock: Stock, steep_deg: float, kerf: float) -> Halves:
    ways = product(swivel.GIVES, (1.5, *swivel.REACHES))
    shape = next((s for s in (swivel.shape(size, clearance, stock, r, g) for g, r in ways) if s), None)
    if shape is None:
        raise _no_shape("swivel", size, clearance)
    cut = Cut("plane", 0.0, kerf)
    design = swivel.design(shape, cut, clearance, stock)
    radius = max(n.half_x for n in swivel.needs(shape, cut, stock)) + 0.2 * stock.wall_mm
    post = _post(cylinder(radius, -0.4, shape.length + 0.3 + stock.wall_mm), design)
    return _upright(kind, size, clearance, post, _made(design.cup.add), design, swivel.root_mm(shape))


def _peg(kind: FitKind, size: float, clearance: float, stock: Stock, steep_deg: float, kerf: float) -> Halves:
    shape = peg.shape(size)
    cut = Cut("plane", 0.0, kerf)
    design = peg.design(shape, cut, clearance)
    radius = shape.radius + 0.2 + 1.4 * stock.wall_mm
    post = _post(cylinder(radius, -0.4, shape.length + 0.3 + stock.wall_mm), design)
    return _upright(kind, size, clearance, post, _made(design.cup.add), design, peg.root_mm(shape))


def _tongue(design: JointDesign) -> Solid:
    return subtract(_made(design.cup.add), [design.cup.bore] if design.cup.bore else [], "bored tongue")


def _made(solid: Solid | None) -> Solid:
    assert solid is not None
    return solid


def _post(flesh: Solid, design: JointDesign) -> Solid:
    """A block in the knuckle frame, cut round as the skin is, with the joint's cavities taken away."""
    return subtract(intersect(flesh, _beyond(design.cut), "post"), _cavities(design), "post")


def _cavities(design: JointDesign) -> list[Solid]:
    return [tool for tool in (design.knuckle.take, design.knuckle.bore) if tool is not None]


def _beyond(cut: Cut) -> Solid:
    """The knuckle's side of the skin cut."""
    far = 80.0
    above = box((-far, -far, 0.0), (far, far, far))
    if cut.shape == "plane":
        return above
    if cut.shape == "sphere":
        return union([above, sphere(cut.radius_mm)], "knuckle side")
    return union([above, cylinder(cut.radius_mm, -far, far).transformed(_LYING)], "knuckle side")


def _footed(stud: Solid, cup_mm: float) -> Solid:
    """The stud moved so that its face stands at z = 0; what is below goes into a slab."""
    return stud.translated((0.0, 0.0, cup_mm))


def _upright(
    kind: FitKind, size: float, clearance: float, post: Solid, stud: Solid, design: JointDesign, root_mm: float
) -> Halves:
    """A post on its head and a stud on its foot, from the knuckle frame."""
    centre = float(post.bounds[1, 2])
    on_its_head, footed = _standing(post.transformed(_FLIP)), _footed(stud, design.cut.cup_mm)
    return Halves(kind, size, clearance, on_its_head, (footed,), design, max(_SLAB_MM, root_mm), centre)


def _standing(solid: Solid) -> Solid:
    return solid.translated((0.0, 0.0, -float(solid.bounds[0, 2])))


def _moved(z_mm: float) -> FloatArray:
    matrix = np.eye(4)
    matrix[2, 3] = z_mm
    return matrix
