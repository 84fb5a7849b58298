"""What was found of one part on the printer, said as findings with places and remedies."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from condyle.build.faces import BEARING
from condyle.build.plan import PartPlan
from condyle.build.process import Rules
from condyle.build.resin import SHRINK
from condyle.build.supports import Column
from condyle.finding import Finding, Point, Verdict

if TYPE_CHECKING:
    from condyle.proof.print import PartPrint

LEAST_TIP_DEG = 8.0
TOUCH_MM2 = 1.0
SEAM_MM = 5.0
NECK_SHARE = 0.5
LOST_MM3 = 1.0
CONTACT_MM2 = 10.0
CUP_MM2 = 12.0
PEEL_MM2 = 900.0


def part_findings(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    """Every finding of one part, in the order of the questions."""
    asked: list[Callable[[PartPrint, PartPlan, Rules], list[Finding]]] = [
        _orientation, _islands, _stands, _removal, _slender, _bearing, _seam, _first_layer, _tip, _neck, _lost, _split,
    ]  # fmt: skip
    if rules.process == "resin":
        asked += [_resin]
    return [finding for ask in asked for finding in ask(told, plan, rules)]


def _orientation(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    volume = plan.part.solid.volume_mm3
    over = plan.orientation.chosen.measures["over_plate_mm"]
    if over > 0.0:
        advice = "it is larger than the build volume in every direction tried: split it, or scale the figure down"
        return [Finding("print.orientation", told.name, "fail", over, 0.0, "mm", None, advice)]
    much = told.support_mm3 > volume
    verdict: Verdict = "caution" if much else "pass"
    advice = "" if not much else "it takes more support than part: look at its alternatives, or split it"
    return [Finding("print.orientation", told.name, verdict, told.support_mm3, volume, "mm³", None, advice)]


def _islands(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    islands = told.of("island")
    under = [c for c in told.columns if c.why == "island"]
    bad = [c for c in under if c.foot in ("nothing", "hair") and c.lean_deg is None]
    if not bad:
        return [Finding("print.islands", told.name, "pass", float(len(islands)), None, "places")]
    # A speck next to the body is lost without being missed; a piece larger than a line's square is not.
    sizes = {c: min(islands, key=lambda s: _apart(s.place, c.place)).area_mm2 for c in bad}
    worst = max(bad, key=lambda c: sizes[c])
    verdict: Verdict = "fail" if sizes[worst] > 2.0 * rules.line_mm**2 else "caution"
    advice = (
        f"{_count(len(bad), 'piece')} of {told.name} {'starts' if len(bad) == 1 else 'start'} in the air where no column can "
        f"stand: turn the part, or join the detail to the body at this place"
    )
    return [Finding("print.islands", told.name, verdict, float(len(islands)), 0.0, "places", worst.place, advice)]


def _stands(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    bad = [c for c in told.columns if c.foot in ("nothing", "hair", "slope")]
    if not bad:
        return [Finding("print.supports", told.name, "pass", 0.0, 0.0, "columns")]
    order = ("nothing", "hair", "slope")
    worst = min(bad, key=lambda c: (order.index(c.foot), -c.height_mm))
    said = ", ".join(f"{n} on {_WHAT[k]}" for k in order if (n := sum(c.foot == k for c in bad)))
    return [
        Finding(
            "print.supports", told.name, "caution", float(len(bad)), 0.0, "columns", worst.place,
            f"{_count(len(bad), 'column')} of support would stand badly ({said}); here {_remedy(worst, rules)}",
        )
    ]  # fmt: skip


_WHAT = {"nothing": "nothing", "hair": "a thin detail", "slope": "a steep face"}


def _remedy(column: Column, rules: Rules) -> str:
    if column.lean_deg is not None:
        return f"a column that leans {column.lean_deg:.0f}° reaches the plate"
    if column.foot == "slope":
        return f"the face below slopes {column.slope_deg:.0f}°: give the column a broad foot, or turn the part"
    if column.foot == "hair":
        return f"what is below is thinner than {rules.min_feature_mm:.1f} mm: thicken it, or turn the part"
    return f"no column {rules.column_mm:.1f} mm wide has room: turn the part, or slope the face above to {rules.overhang_deg:.0f}°"


def _removal(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    return _columns_that(
        told, "print.removal", lambda c: not c.reachable and c.height_mm > rules.column_mm,
        "no tool reaches the support here: turn the part, or open the hollow", len,
    )  # fmt: skip


def _slender(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    tall = max((c.slenderness for c in told.columns), default=0.0)
    worst = next((c for c in told.columns if c.slenderness == tall), None)
    high = tall > rules.slender
    advice = (
        ""
        if not high
        else "a column this tall for its width sways: brace it to its neighbours, or make it twice as wide"
    )
    place = worst.place if worst is not None and high else None
    return [
        Finding(
            "print.slender",
            told.name,
            "caution" if high else "pass",
            tall,
            rules.slender,
            "height/width",
            place,
            advice,
        )
    ]


def _bearing(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    first = plan.orientation.chosen.measures["first_bearing_mm2"]
    touched = told.bearing_mm2 + first
    if touched <= TOUCH_MM2:
        return [Finding("print.bearing", told.name, "pass", touched, TOUCH_MM2, "mm²")]
    place: Point | None = next(
        (c.place for c in told.columns if c.touches == BEARING),
        next((c.place for c in told.columns if c.stands_on == BEARING), None),
    )
    what = "the first layer lies on" if first > told.bearing_mm2 else "supports touch"
    posts = sum(BEARING in (c.touches, c.stands_on) for c in told.columns)
    held = (
        f" ({_count(posts, 'column')} of its own there, the rest held from beside)" if first <= told.bearing_mm2 else ""
    )
    clean = next((a for a in plan.orientation.alternatives if a.better_at == "bearings untouched"), None)
    if clean is not None:
        x, y, z = clean.direction
        way = (
            f"it would lie with {clean.words} without that: up = [{x:.2f}, {y:.2f}, {z:.2f}] under [parts.{told.name}]"
        )
    elif told.studless is not None and told.studless.touched_mm2 < 0.5 * touched:
        tried = told.studless
        tables = " and ".join(f"[joints.{name}]" for name in tried.joints)
        way = (
            f'with insert = "stud" under {tables}, tried without its {_count(len(tried.joints), "ball")}, it would lie with '
            f"{tried.lies} and {tried.touched_mm2:.1f} mm² touched, on {tried.support_mm3:.0f} mm³ of support in the place of "
            f"{told.support_mm3:.0f}; or cut the marks flush, away from you, and turn the joint dry until it runs"
        )
    else:
        tried_too = (
            ""
            if told.studless is None
            else f", and studs of their own would still leave {told.studless.touched_mm2:.1f} mm²"
        )
        way = f"no direction leaves them alone{tried_too}: cut the marks flush, away from you, and turn the joint dry until it runs"
    advice = f"{what} {touched:.1f} mm² of bearing faces{held}, which will not turn cleanly: {way}"
    return [Finding("print.bearing", told.name, "caution", touched, TOUCH_MM2, "mm²", place, advice)]


def _seam(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    line = told.seam
    if line is None:
        return []
    much = line.bearing_mm > SEAM_MM
    advice = (
        f"laid to {line.words}, its best side, and barred from bearing faces, the seam still runs {line.bearing_mm:.0f} mm over "
        "them, where all of an outline bears: scrape it flush there, away from you, and turn the joint dry until it runs"
    )
    verdict: Verdict = "caution" if much else "pass"
    return [
        Finding(
            "print.seam",
            told.name,
            verdict,
            line.bearing_mm,
            SEAM_MM,
            "mm",
            line.at if much else None,
            advice if much else "",
        )
    ]


def _first_layer(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    if rules.process != "filament":
        return []
    contact = told.growth.contact_mm2
    base = contact + sum(rules.column_mm**2 for c in told.columns if c.foot == "plate")
    if base < CONTACT_MM2:
        advice = "little of it lies on the plate: add a brim, or a raft below its supports"
        return [Finding("print.first_layer", told.name, "caution", base, CONTACT_MM2, "mm²", None, advice)]
    return [Finding("print.first_layer", told.name, "pass", base, CONTACT_MM2, "mm²")]


def _tip(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    tip = told.growth.tip_deg
    low = tip < LEAST_TIP_DEG and rules.process == "filament"
    advice = f"at {told.growth.at_mm:.0f} mm it stands on too small a foot: a brim, or columns beside it" if low else ""
    return [Finding("print.tip", told.name, "caution" if low else "pass", tip, LEAST_TIP_DEG, "°", None, advice)]


def _neck(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    if not plan.part.necks:
        return []
    share = plan.orientation.chosen.measures["neck_share"]
    up = plan.orientation.chosen.direction
    cosines = {n: abs(sum(a * b for a, b in zip(n.axis, up, strict=True))) for n in plan.part.necks}
    worst = max(cosines, key=lambda n: (n.stress_mpa or 1.0) * cosines[n] ** 2)
    known = worst.stress_mpa is not None
    if share <= NECK_SHARE and (known or cosines[worst] <= 0.87):
        return [Finding("print.neck", told.name, "pass", share, NECK_SHARE, "of strength")]
    load = f" and gets {worst.stress_mpa:.0f} MPa from a finger or a pulling hand" if known else ""
    angle = math.degrees(math.acos(min(1.0, cosines[worst])))
    advice = (
        f"the section at {worst.joint} is pulled {angle:.0f}° off the normal of its layers, where they come apart{load}: lay the "
        'part as its alternative for strong necks says, or give a ball insert = "stud", which is printed lying by itself'
    )
    return [Finding("print.neck", told.name, "caution", share, NECK_SHARE, "of strength", worst.place, advice)]


def _lost(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    much = told.lost_mm3 > LOST_MM3
    advice = ""
    if much:
        advice = (
            f"edges and details narrower than one line of {rules.line_mm:.2f} mm are left out: blunt or thicken them"
        )
    place = told.lost_at if much else None
    return [
        Finding("print.lost", told.name, "caution" if much else "pass", told.lost_mm3, LOST_MM3, "mm³", place, advice)
    ]


def _split(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    cut = told.split
    if cut is None:
        return []
    advice = (
        f"cut square to ({cut.normal[0]:.2f}, {cut.normal[1]:.2f}, {cut.normal[2]:.2f}) here and printed flat side down, it "
        f"takes {cut.after_mm3:.0f} mm³ of support in the place of {cut.before_mm3:.0f}; a round key of {cut.key_mm:.1f} mm "
        f"fits, the glued face has {cut.section_mm2:.0f} mm² and a seam of {cut.seam_mm:.0f} mm"
    )
    return [Finding("print.split", told.name, "caution", cut.before_mm3, cut.after_mm3, "mm³", cut.key_at, advice)]


def _resin(told: PartPrint, plan: PartPlan, rules: Rules) -> list[Finding]:
    out = []
    sucks = [c for c in told.cups if c.area_mm2 >= CUP_MM2]
    if sucks:
        advice = "a hollow closed towards the plate sucks at the film: a vent of 2 mm near the plate, or turn the part"
        out.append(
            Finding("print.suction", told.name, "caution", sucks[0].area_mm2, CUP_MM2, "mm²", sucks[0].place, advice)
        )
    shut = [c for c in told.cups if c.closed]
    if shut:
        advice = "liquid resin stays in this hollow and may burst it later: two drain holes, or fill it. Gloves; cure what drains"
        out.append(Finding("print.trapped", told.name, "fail", float(len(shut)), 0.0, "hollows", shut[0].place, advice))
    if told.peel is not None:
        much = told.peel.area_mm2 > PEEL_MM2
        advice = f"the layer at {told.peel.at_mm:.0f} mm pulls hard: tilt the part, or hollow it" if much else ""
        verdict: Verdict = "caution" if much else "pass"
        out.append(Finding("print.peel", told.name, verdict, told.peel.area_mm2, PEEL_MM2, "mm²", None, advice))
    if told.hollowing is not None:
        h = told.hollowing
        advice = (
            f"hollow_mm = {h.wall_mm:.1f} under [parts.{told.name}] would save about {h.saved_mm3:.0f} mm³ of resin, if two drains "
            f"of {h.drain_mm:.1f} mm find room: likely here and at ({h.drains[1][0]:.0f}, {h.drains[1][1]:.0f}, {h.drains[1][2]:.0f})"
        )
        out.append(Finding("print.hollow", told.name, "caution", h.saved_mm3, None, "mm³", h.drains[0], advice))
    low, high = plan.part.solid.bounds
    longest = float((high - low).max())
    out.append(Finding("print.shrink", told.name, "pass", SHRINK * longest, None, "mm"))
    return out


def _columns_that(
    told: PartPrint,
    check: str,
    which: Callable[[Column], bool],
    advice: str,
    measure: Callable[[Sequence[Column]], float],
) -> list[Finding]:
    bad = [c for c in told.columns if which(c)]
    if not bad:
        return [Finding(check, told.name, "pass", 0.0, 0.0, "columns")]
    worst = max(bad, key=lambda c: c.height_mm)
    return [Finding(check, told.name, "caution", float(measure(bad)), 0.0, "columns", worst.place, advice)]


def _count(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


def _apart(a: Point, b: Point) -> float:
    return sum((x - y) ** 2 for x, y in zip(a, b, strict=True))
