"""A family of bodies to seat skeletons in: ages, builds, poses, uneven limbs, stylised figures, other meshes."""

from __future__ import annotations

from collections.abc import Callable

from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import solid_from_mesh
from tests.seating.bodies import Body, Segment, body, macro, shuffled, subdivided

Maker = Callable[[], Body]


def arms(lift_deg: float, **more: float) -> dict[str, Segment]:
    """Both upper arms turned away from the body by ``lift_deg`` from the data's own A-pose (about 40°)."""
    return {
        "upper_arm_left": Segment((1.0, 0.0, 0.0), lift_deg, **more),
        "upper_arm_right": Segment((1.0, 0.0, 0.0), -lift_deg, **more),
    }


def legs(spread_deg: float) -> dict[str, Segment]:
    """Both thighs turned outward."""
    return {
        "thigh_left": Segment((1.0, 0.0, 0.0), spread_deg),
        "thigh_right": Segment((1.0, 0.0, 0.0), -spread_deg),
    }


def both(**segments: Segment) -> dict[str, Segment]:
    """Left and right alike (only for scaling)."""
    return {f"{name}_{side}": s for name, s in segments.items() for side in ("left", "right")}


def straight_arms(lift_deg: float) -> dict[str, Segment]:
    """Arms lifted, forearms turned back in line with the upper arms, as a T-pose is sculpted."""
    return arms(lift_deg) | {
        "forearm_left": Segment((-0.107, 0.549, 0.455), 40.0),
        "forearm_right": Segment((0.107, 0.549, -0.455), 40.0),
    }


def uneven(upper_arm: float, forearm: float, thigh: float, shin: float) -> dict[str, Segment]:
    """Limb segments of other lengths."""
    return both(
        upper_arm=Segment(length=upper_arm),
        forearm=Segment(length=forearm),
        thigh=Segment(length=thigh),
        shin=Segment(length=shin),
    )


def _stylised(head: float, leg: float, thick: float, hand: float) -> dict[str, Segment]:
    return {"head": Segment(length=head, thickness=head)} | both(
        upper_arm=Segment(length=0.9, thickness=thick),
        forearm=Segment(length=0.9, thickness=thick),
        hand=Segment(length=hand, thickness=hand),
        thigh=Segment(length=leg, thickness=thick),
        shin=Segment(length=leg, thickness=thick),
        foot=Segment(length=1.1, thickness=1.1),
    )


def _partly_tall(gender: str, age: str, height: str) -> dict[str, float]:
    """Only four tenths of a height target: at full strength the data's knee marker leaves the knee by 7 % of height
    (the ring of vertices around it stays where the kneecap and the calf's end are), so it is no truth there.
    """
    return {k: (0.4 * v if "/height/" in k else v) for k, v in macro(gender, age, height=height).items()}


def _decimated(mesh: Mesh, tolerance_mm: float) -> Mesh:
    return solid_from_mesh(mesh).simplified(tolerance_mm).mesh


def _remeshed(name: str, of: Maker, how: Callable[[Mesh], Mesh]) -> Maker:
    def make() -> Body:
        found = of()
        return Body(name, how(found.mesh), found.joints)

    return make


def family() -> dict[str, Maker]:
    """All bodies by name; each made on demand."""
    out: dict[str, Maker] = {"base": lambda: body("base")}

    def add(name: str, targets: dict[str, float] | None = None, segments: dict[str, Segment] | None = None) -> None:
        out[name] = lambda: body(name, targets, segments)

    for gender in ("female", "male"):
        for age in ("baby", "child", "young", "old"):
            add(f"{gender}-{age}", macro(gender, age))
        for weight in ("min", "max"):
            add(f"{gender}-young-{weight}weight", macro(gender, "young", weight=weight))
        add(f"{gender}-young-maxmuscle", macro(gender, "young", muscle="max"))
        add(f"{gender}-child-maxweight", macro(gender, "child", weight="max"))
        add(f"{gender}-old-minmuscle-maxweight", macro(gender, "old", "min", "max"))
        for height in ("min", "max"):
            for age in ("child", "young"):
                add(f"{gender}-{age}-{height}height", _partly_tall(gender, age, height))
        for proportions in ("ideal", "uncommon"):
            add(f"{gender}-young-{proportions}", macro(gender, "young", proportions=proportions))
    toddler = {k: 0.5 * v for k, v in macro("female", "baby").items()}
    for k, v in macro("female", "child").items():
        toddler[k] = toddler.get(k, 0.0) + 0.5 * v
    add("toddler", toddler)
    for lift in (-20.0, -12.0, 15.0, 30.0, 50.0):
        add(f"base-arms{lift:+.0f}", None, arms(lift))
        add(f"male-young-arms{lift:+.0f}", macro("male", "young"), arms(lift))
    add("female-young-tpose", macro("female", "young"), straight_arms(50.0))
    add("male-young-tpose", macro("male", "young"), straight_arms(48.0))
    add("child-tpose", macro("male", "child"), straight_arms(50.0))
    add("toddler-tpose", toddler, straight_arms(45.0))
    add("base-straight", None, straight_arms(0.0))
    add("base-legs-wide", None, legs(12.0))
    add("base-legs-wider", None, legs(20.0))
    add("base-legs-close", None, legs(-3.0))
    add("uneven-long-thigh", None, uneven(1.0, 1.0, 1.2, 0.85))
    add("uneven-long-shin", None, uneven(1.0, 1.0, 0.85, 1.2))
    add("uneven-long-upper-arm", None, uneven(1.25, 0.85, 1.0, 1.0))
    add("uneven-long-forearm", None, uneven(0.85, 1.25, 1.0, 1.0))
    add("uneven-long-limbs", None, uneven(1.3, 1.3, 1.3, 1.3))
    add("uneven-short-limbs", None, uneven(0.75, 0.75, 0.75, 0.75))
    add("uneven-mixed", macro("male", "young"), uneven(1.2, 0.9, 0.9, 1.15) | arms(20.0))
    add("uneven-left-arm", None, {"upper_arm_left": Segment(length=1.2), "forearm_left": Segment(length=1.1)})
    add("thin-limbs", None, both(**{n: Segment(thickness=0.75) for n in ("upper_arm", "forearm", "thigh", "shin")}))
    add("thick-limbs", None, both(**{n: Segment(thickness=1.3) for n in ("upper_arm", "forearm", "thigh", "shin")}))
    add("long-torso", None, {"chest": Segment(length=1.25)})
    add("stylised", None, _stylised(1.5, 0.7, 1.25, 1.2))
    add("stylised-female", macro("female", "young"), _stylised(1.7, 0.8, 1.1, 1.1) | {})
    add("stylised-child", macro("male", "child"), _stylised(1.4, 0.8, 1.2, 1.3))
    add("stylised-small-head", None, _stylised(0.8, 1.15, 1.2, 1.2))
    out["base-subdivided"] = _remeshed("base-subdivided", out["base"], subdivided)
    out["base-shuffled"] = _remeshed("base-shuffled", out["male-young"], lambda m: shuffled(m, 7))
    out["base-decimated"] = _remeshed("base-decimated", out["base"], lambda m: _decimated(m, 0.15))
    out["toddler-decimated"] = _remeshed("toddler-decimated", out["toddler"], lambda m: _decimated(m, 0.2))
    return out
