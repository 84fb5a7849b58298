"""What the intake has to say beyond its list of changes: units in doubt, directions in doubt, places worth a look."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from condyle.finding import Finding, Point
from condyle.geometry.mesh import FloatArray
from condyle.geometry.repair.simplify import Simplified
from condyle.geometry.solid import Solid
from condyle.units import MM_PER_UNIT

SURE = 0.3
_ASKEW_DEG = 5.0
_LIKELY_MM = (20.0, 3000.0)
_PLACES = 10

_ADVICE = {
    "rebuilt": "look at this place: the skin was rebuilt where the sculpt crossed itself",
    "hole": "look at this place: a hole was closed with the least skin",
    "hollow": "the hollow was filled, as hardware needs solid ground; make thin shells after parting, not before",
    "inner_shell": "a body inside the body was dropped; take it out of the sculpt if it was not meant",
    "pinch": "surfaces touched here in a point or a line; make them overlap or part them in the sculpting program",
}


def unit_finding(unit: str | None, scale: float, height_mm: float) -> Iterator[Finding]:
    """A caution when the input's numbers cannot be what their unit says, or when nobody says a unit."""
    numbers = height_mm / scale
    if unit is None:
        if not 0.5 <= scale <= 2.0:
            yield Finding(
                "intake.unit",
                "sculpt",
                "caution",
                measured=numbers,
                target=height_mm,
                unit="",
                advice=f"the file states no unit and its figure is {numbers:.4g} units tall; it was scaled to "
                f"{height_mm:g} mm. Say --unit, and check that the height is the one you want",
            )
        return
    tall = numbers * MM_PER_UNIT[unit]
    if not _LIKELY_MM[0] <= tall <= _LIKELY_MM[1]:
        likely = [u for u, mm in MM_PER_UNIT.items() if _LIKELY_MM[0] <= numbers * mm <= _LIKELY_MM[1]]
        yield Finding(
            "intake.unit",
            "sculpt",
            "caution",
            measured=tall,
            target=height_mm,
            unit="mm",
            advice=f"in {unit}s the input is {tall:.4g} mm tall, which is unlikely"
            + (f"; {' or '.join(likely)} would fit" if likely else "")
            + f". It was scaled to {height_mm:g} mm; check the unit",
        )


def findings_of(
    places: Mapping[str, Sequence[Point]],
    solid: Solid,
    thin: Simplified,
    deviation_mm: float,
    up_sure: float,
    facing_sure: float,
    askew_deg: float,
) -> Iterator[Finding]:
    """Cautions first, then what was measured; ``places`` by kind of repair, all in figure coordinates."""
    for name, sure in (("up", up_sure), ("facing", facing_sure)):
        if sure < SURE:
            yield Finding(
                f"intake.{name}",
                "sculpt",
                "caution",
                measured=sure,
                target=SURE,
                advice=f"which way is {'up' if name == 'up' else 'forward'} could not be told surely from the body; "
                f"check it, and say --{name} if it is wrong",
            )
    if askew_deg > _ASKEW_DEG:
        yield Finding(
            "intake.facing",
            "sculpt",
            "caution",
            measured=askew_deg,
            target=0.0,
            unit="°",
            advice="the figure stands turned against the axes of its file; turn it to face along one and export again",
        )
    for kind, advice in _ADVICE.items():
        for place in list(places.get(kind, []))[:_PLACES]:
            yield Finding(f"intake.{kind}", "sculpt", "caution", place=place, advice=advice)
    crossing = places.get("crossing", [])
    if crossing:
        yield Finding(
            "intake.crossing", "sculpt", "pass", measured=float(len(crossing)), unit="places", place=crossing[0]
        )
    shells = solid.shells()
    if len(shells) > 1:
        shells.sort(key=lambda s: -s.volume_mm3)
        for shell in shells[1 : 1 + _PLACES]:
            middle = shell.bounds.mean(axis=0)
            yield Finding(
                "intake.loose_piece",
                "sculpt",
                "caution",
                measured=shell.volume_mm3,
                unit="mm³",
                place=(float(middle[0]), float(middle[1]), float(middle[2])),
                advice="this piece touches nothing; sink it into the body, or give it as a piece of its own",
            )
    yield Finding("intake.deviation", "sculpt", "pass", measured=thin.deviation_mm, target=deviation_mm, unit="mm")


def place_in_figure(places: Sequence[Point], matrix: FloatArray) -> list[Point]:
    """Points moved by a (4, 4) matrix."""
    points = np.asarray(places, dtype=np.float64).reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]
    return [(float(x), float(y), float(z)) for x, y, z in points]
