"""Findings about lasting: the finger, the fall, pop before break, and the forces of putting together."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from condyle.figure.kit import BuiltJoint, Kit
from condyle.finding import Finding, Verdict
from condyle.joints.mechanics.snap import tilt_limit_deg
from condyle.proof.last.cross import COARSE, DOUBTED, Cross, Opinion
from condyle.proof.last.loads import SMALL_MM, JointStrength, Loaded, Wanted
from condyle.workshop.bench import Workshop

STRENGTH_SD = 0.3
"""Relative standard deviation of a printed section's strength: that of the card's yield, of the share across layers, and of
how a notch is felt, together."""


def strength_sd(workshop: Workshop) -> float:
    """The relative standard deviation from the material's own card, at least a tenth."""
    material = workshop.material
    parts = [(m.sd / m.value) if m.value else 0.0 for m in (material.yield_mpa, material.across_layers)]
    return max(0.1, math.hypot(*parts))


def last_findings(
    kit: Kit,
    strengths: Mapping[str, JointStrength],
    loads: Sequence[Loaded],
    workshop: Workshop,
    wanted: Wanted,
) -> list[Finding]:
    """All of a kit, joints and limbs in the kit's order."""
    sd = strength_sd(workshop)
    out: list[Finding] = []
    for load in loads:
        out += _bends(load, sd, wanted)
    joints = {j.name: j for j in kit.joints}
    out += [_second(x.cross, x.cross.opinion) for x in loads if x.cross.opinion is not None]
    for name, strength in strengths.items():
        out += _pops(joints[name], strength, sd, wanted)
    for joint in kit.joints:
        if joint.built:
            out += _hands(kit, joint, wanted)
    return out


def _grade(value: float, target: float, floor: float, sd: float) -> Verdict:
    """Pass at the target, fail where even a strength at its high end stays under the floor."""
    if value >= target:
        return "pass"
    return "fail" if value * (1.0 + 1.645 * sd) < floor else "caution"


def _bends(load: Loaded, sd: float, wanted: Wanted) -> list[Finding]:
    cross = load.cross
    what = f"{cross.part}" if cross.what == "limb" else f"{cross.joint}/{cross.part}"
    angle = f"{cross.round_mm:.1f} mm across, layers at {cross.layers_deg:.0f}° to its normal"
    first = f"{load.let_go} lets go first at {load.force_n:.1f} N" if load.let_go else "nothing lets go before it"
    out = []
    safety = min(load.safety, 99.0)
    verdict = _grade(safety, wanted.safety, 1.0, sd)
    cure = (1.0 if safety <= 0 else (wanted.safety / safety) ** (1.0 / 3.0)) * cross.round_mm
    out.append(
        Finding(
            "last.finger",
            what,
            verdict,
            round(safety, 3),
            wanted.safety,
            "times the load",
            cross.place,
            ""
            if verdict == "pass"
            else f"{angle}, breaks at {cross.bending_nmm:.0f} N·mm ({cross.by}, ±{100 * sd:.0f} %) and gets "
            f"{load.finger_nmm:.0f} from {wanted.finger_n:g} N at {load.arm_mm:.0f} mm; {first}: {cure:.1f} mm across would do, or lay its layers "
            "along the limb",
        )
    )
    fall = min(load.drop_safety, 99.0)
    out.append(
        Finding(
            "last.drop",
            what,
            "pass" if fall >= 1.0 else "caution",
            round(fall, 3),
            1.0,
            "times the load",
            cross.place,
            ""
            if fall >= 1.0
            else f"a fall from {wanted.drop_mm:g} mm onto the end of this limb brings up to {load.drop_nmm:.0f} N·mm, and it "
            f"breaks at {cross.bending_nmm:.0f} ({cross.by}): {_lighter(load)}; keep it from the edge; a tougher material is not "
            "tried here, since it changes every grip: set material and prove again",
        )
    )
    return out


def _lighter(load: Loaded) -> str:
    """What less inside does to a fall, weighed again; it does not thin the section itself only where that is hardware."""
    fall = load.cross.bending_nmm / load.light_nmm if load.light_nmm > 0.0 else math.inf
    if load.cross.what == "limb" or load.light_nmm > 0.98 * load.drop_nmm:
        return "a lighter inside would not help"
    return f"tried fill = 0.05 beyond it, weighed again: {fall:.2f} times, " + (
        "enough" if fall >= 1.0 else "not enough"
    )


def _second(cross: Cross, opinion: Opinion) -> Finding:
    """What an elastic solve says of a section against the beam: below 1 the beam promised too much."""
    share = 1.0 / opinion.stress_ratio
    sound = share >= DOUBTED
    used = "used instead" if cross.solve_counts else "the beam stands"
    why = ": too short for a beam" if cross.stubby else ""
    why += f"; solved at {opinion.at}" if opinion.at else ""
    return Finding(
        "last.second_opinion",
        cross.part if cross.what == "limb" else cross.joint,
        "pass" if sound else "caution",
        round(share, 3),
        DOUBTED,
        f"of what the beam bears ({used}{why}; up to {100 * COARSE:.0f} % low, six cells across)",
        cross.place,
        ""
        if sound
        else f"an elastic solve of {opinion.cells} cells finds {opinion.stress_ratio:.2f} times the beam's stress: it breaks at "
        f"{cross.bending_nmm:.0f} N·mm instead of {cross.beam_nmm:.0f}; round the inner corner or thicken it",
    )


def _pops(joint: BuiltJoint, strength: JointStrength, sd: float, wanted: Wanted) -> list[Finding]:
    kind = joint.seated.spec.kind
    if strength.release_n is None:
        lip = joint.undercut_mm > 0.0 and joint.pin_mm is None
        how = "pinned" if joint.pin_mm is not None else "no lip"
        told = Finding(
            "last.no_pop",
            joint.name,
            "unknown" if lip else "pass",
            round(strength.bending.bending_nmm, 1),
            unit="N·mm breaks it" + ("" if lip else f" ({how}: not meant to come apart)"),
            place=strength.bending.place,
            advice="what pulls it past its lip was never measured: print one, pull it off a kitchen scale, and write "
            "retention_n under [tested] of its file"
            if lip
            else "",
        )
        return [told, *_pin(strength, sd, wanted)]
    out = _sacrifices(joint, strength, sd, wanted)
    verdict: Verdict
    for check, share, cross, unit in (
        ("last.pop_pull", strength.pull_share, strength.tension, "of the pull that breaks it"),
        ("last.pop_bend", strength.bend_share, strength.bending, "of the moment that breaks it"),
    ):
        if share is None and kind == "custom":
            words = "what levers a joint of your own apart sideways is not computed: try one in print (mind your eyes)"
            out.append(Finding(check, joint.name, "unknown", None, wanted.pop_share, unit, cross.place, words))
            continue
        if share is None:
            out.append(
                Finding(
                    check,
                    joint.name,
                    "caution",
                    None,
                    wanted.pop_share,
                    unit,
                    cross.place,
                    f"a {kind} does not let go sideways, and no ball on its limb does it for it: its stud of "
                    f"{cross.round_mm:.1f} mm breaks at {cross.bending_nmm:.0f} N·mm (±{100 * sd:.0f} %); make it thicker, or "
                    "take hold of this limb close to the joint",
                )
            )
            continue
        if check == "last.pop_bend" and strength.guard is not None:
            unit = f"of the moment that breaks it, when {strength.guard} lets go before it"
        if share > wanted.pop_share and cross.part == strength.insert and _spares(strength, wanted):
            unit += f"; {cross.part} is the sacrifice and comes twice"
            broken = f"it breaks before it lets go (±{100 * sd:.0f} %), and nothing that was sculpted does (last.sacrifice): "
            how = "glue the peg with one drop, and drill it out to put the spare in (glasses; away from the hand)"
            advice, verdict = (broken + how, "caution") if share > 1.0 else ("", "pass")
            out.append(
                Finding(check, joint.name, verdict, round(share, 3), wanted.pop_share, unit, cross.place, advice)
            )
            continue
        verdict = "pass" if share <= wanted.pop_share else ("fail" if share / (1 + 1.645 * sd) > 1.0 else "caution")
        advice = "" if verdict == "pass" else _thicker(joint, strength, share, check, cross.round_mm, wanted, sd)
        out.append(Finding(check, joint.name, verdict, round(share, 3), wanted.pop_share, unit, cross.place, advice))
    return out


def _pin(strength: JointStrength, sd: float, wanted: Wanted) -> list[Finding]:
    """A tug at a pinned joint: the pin sheared in two places, or the eye or the fork torn beside it."""
    if strength.pin_n is None or strength.eye is None:
        return []
    tears = strength.eye.tension_n
    least = min(strength.pin_n, tears)
    verdict = _grade(least / wanted.tug_n, wanted.safety, 1.0, sd)
    what = "the pin shears" if strength.pin_n <= tears else f"{strength.eye.part} tears beside the pin"
    return [
        Finding(
            "last.pin",
            strength.joint,
            verdict,
            round(least / wanted.tug_n, 3),
            wanted.safety,
            "times the load",
            strength.eye.place,
            ""
            if verdict == "pass"
            else f"{what} at {least:.0f} N (±{100 * sd:.0f} %) and gets {wanted.tug_n:g} N: a thicker pin, a larger size, or lay "
            "the layers along the limb",
        )
    ]


def _spares(strength: JointStrength, wanted: Wanted) -> bool:
    """Whether an insert gives way before half of what breaks the parts that were sculpted has reached them."""
    return strength.sacrifice is not None and strength.sacrifice <= wanted.pop_share


def _sacrifices(joint: BuiltJoint, strength: JointStrength, sd: float, wanted: Wanted) -> list[Finding]:
    """What an insert lets through to the parts that were sculpted: its seat, and the other side's hardware."""
    share, gives, seat, spared = strength.sacrifice, strength.gives, strength.seat, strength.spared
    if share is None or gives is None:
        return []
    by_seat = seat is not None and (spared is None or seat.breaks_nmm <= spared.bending_nmm)
    cross = seat.cross if by_seat and seat is not None else spared
    assert cross is not None
    if by_seat and seat is not None:
        what = f"the seat in {cross.part}, {seat.wall_mm:.1f} mm of wall around a peg of {seat.peg_mm:.1f} × {seat.length_mm:.1f} mm,"
        breaks = seat.breaks_nmm
    else:
        what, breaks = f"{cross.part}", cross.bending_nmm
    verdict: Verdict = (
        "pass" if share <= wanted.pop_share else ("fail" if share / (1 + 1.645 * sd) > 1.0 else "caution")
    )
    advice = (
        f"{what} breaks at {breaks:.0f} N·mm (±{100 * sd:.0f} %), the insert lets {share * breaks:.0f} through: a thicker limb "
        "or a smaller size leaves more wall around the peg"
    )
    unit = f"of the moment that breaks {cross.part}, when {gives.part} lets go or breaks at {share * breaks:.0f} N·mm"
    told = "" if verdict == "pass" else advice
    return [Finding("last.sacrifice", joint.name, verdict, round(share, 3), wanted.pop_share, unit, cross.place, told)]


def _thicker(
    joint: BuiltJoint, strength: JointStrength, share: float, check: str, neck_mm: float, wanted: Wanted, sd: float
) -> str:
    """How thick the neck would have to be, worked out, and what makes it so or lets it be replaced."""
    power = 0.5 if check == "last.pop_pull" else 1.0 / 3.0
    needed = neck_mm * (share / wanted.pop_share) ** power
    told = f"it breaks before it lets go (±{100 * sd:.0f} %)" if share > 1.0 else "it lets go too close to breaking"
    told += f": {needed:.1f} mm across instead of {neck_mm:.1f} would do, worked out and not tried"
    if joint.seated.spec.kind != "ball":
        return f"{told}: a larger size" + (
            "" if strength.guard is None else f", or more clearance_mm at {strength.guard}"
        )
    size, radius = joint.size_mm or 0.0, 0.5 * (joint.size_mm or 0.0)
    cosine = (radius - joint.undercut_mm) / (radius + (joint.clearance_mm or 0.0)) if radius else 1.0
    lip = math.degrees(math.acos(min(1.0, cosine)))
    if needed < 0.8 * size:
        least, most = (max(0.0, tilt_limit_deg(size, d, lip)) for d in (needed, neck_mm))
        told += f" (it tilts {least:.0f}° instead of {most:.0f}°)"
    if strength.insert is None:
        told += "; no thicker neck, gentler grip of 8 N or stud of its own found room here, or they are switched off"
    return f'{told}: a larger size, or insert = "stud", whose neck lies in its layers and can be replaced'


def _hands(kit: Kit, joint: BuiltJoint, wanted: Wanted) -> list[Finding]:
    """Putting small parts on by hand; larger ones are judged as they are parted."""
    if joint.insertion_n is None or not joint.axles:
        return []
    part = kit.part(joint.axles[-1].moves)
    longest = float((part.solid.bounds[1] - part.solid.bounds[0]).max())
    if longest > SMALL_MM or joint.pin_mm is not None:
        return []
    light = joint.insertion_n <= wanted.small_push_n
    return [
        Finding(
            "last.small_push",
            joint.name,
            "pass" if light else "caution",
            joint.insertion_n,
            wanted.small_push_n,
            "N",
            joint.axles[-1].centre,
            ""
            if light
            else f"{part.name} is held between two fingertips: a wider clearance_mm, a smaller ball, or warm water first "
            "(mind your fingers)",
        )
    ]
