"""What stands beside a limb and is none of it: tools meant for the limb are kept off it."""

from __future__ import annotations

from condyle.figure.parting.site import Prospect, Slice
from condyle.geometry.polygons import Region, rectangle
from condyle.geometry.solid import Solid, extrude, remainder

_AWAY_MM = 0.25


def followed(stations: list[Slice]) -> tuple[list[Region], list[Region]]:
    """The limb's own outlines and all others, from the first station on.

    The limb is whatever lies over what was the limb one station before: a hand may curl away from the axis and is still
    the limb.
    """
    limbs = [s.limb for s in stations[:1] if s.limb is not None]
    others = [r for s in stations[:1] for r in s.others]
    for station in stations[1:]:
        pieces = [*([station.limb] if station.limb is not None else []), *station.others]
        own = [p for p in pieces if p is station.limb or (limbs and not (p & limbs[-1]).empty)]
        others += [p for p in pieces if p not in own]
        if own:
            joined = own[0]
            for p in own[1:]:
                joined = joined | p
            limbs.append(joined)
    return limbs, others


def kept_to_limb(tool: Solid, seen: Prospect) -> Solid:
    """A tool (knuckle frame) that leaves alone what stands beside the limb: the other leg, the side of the body.

    Outlines at half-millimetre stations are taken together, so what lies over the limb's own outline at another height is
    not spared.
    """
    (x0, y0, z0), (x1, y1, z1) = tool.bounds
    up, down = seen.between(0.0, max(z1, 0.5)), seen.between(min(z0, -0.5), 0.0)[::-1]
    reach = rectangle((x0 - _AWAY_MM, y0 - _AWAY_MM), (x1 + _AWAY_MM, y1 + _AWAY_MM))
    if not any(not (r & reach).empty for s in (*up, *down) for r in s.others):
        return tool
    limbs, others = (a + b for a, b in zip(followed(up), followed(down), strict=True))
    near = [r for r in others if not (r & reach).empty]
    if not near or not limbs:
        return tool
    own, foreign = limbs[0], near[0]
    for region in limbs[1:]:
        own = own | region
    for region in near[1:]:
        foreign = foreign | region
    foreign = (foreign.offset(0.5 * _AWAY_MM) - own.offset(0.5 * _AWAY_MM)).simplified(0.02) & reach
    if foreign.empty:
        return tool
    fence = extrude(foreign.rings(), z1 - z0 + 2.0).translated((0.0, 0.0, z0 - 1.0))
    kept = remainder(tool, [fence])
    return tool if kept is None else kept
