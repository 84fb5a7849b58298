"""Arrangements: the range of a compound human joint shared over the joints that stand for it, and what follows what.

The rule. Of each motion's whole range every joint is asked for its share, both ends alike. Where a file states no shares,
those joints that have the motion take equal ones; but a twist goes to the swivels alone where there are any, since a ball
that twists loses tilt. Shares that add up to less than one leave the rest to what the figure has no joint for: a single
shoulder ball is asked for two thirds, the shoulder blade's third is nobody's (see templates/upright.toml for sources).
A joint that follows another is asked for as much the other way, so that a sole can lie flat however the leg is spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from condyle.figure.skeleton import Arrangement, JointSpec, Motion, Range, Skeleton, motions_of

FULL = 1.0 + 1e-6
"""Shares may add up to this."""


def shared(skeleton: Skeleton) -> Skeleton:
    """The skeleton with the wanted ranges that its arrangements and followers give.

    A joint of the maker's own keeps what it was drawn for. Each joint has a motion in one arrangement at most.
    """
    wanted = {j.name: dict(j.wanted) for j in skeleton.joints}
    specs = {j.name: j for j in skeleton.joints}
    for arrangement in skeleton.arrangements:
        for motion, (low, high) in arrangement.whole.items():
            for name, share in zip(arrangement.joints, arrangement.share[motion], strict=True):
                if specs[name].custom is not None or motion not in motions_of(specs[name]):
                    continue
                wanted[name].pop(motion, None)
                if share > 0.0:
                    wanted[name][motion] = (share * low + 0.0, share * high + 0.0)
    for spec in skeleton.joints:
        for motion, other in spec.follows.items():
            led = _led(other, motion, wanted, skeleton)
            if led is not None and motion in motions_of(spec):
                low, high = wanted[spec.name].get(motion, (0.0, 0.0))
                wanted[spec.name][motion] = (min(low, -led[1] + 0.0), max(high, -led[0] + 0.0))
    return replace(skeleton, joints=tuple(replace(j, wanted=_ordered(j, wanted[j.name])) for j in skeleton.joints))


def even_shares(joints: Sequence[JointSpec], motion: Motion) -> tuple[float, ...]:
    """Equal shares of a motion for those that have it; of a twist for the swivels among them, where there are any."""
    able = [motion in motions_of(j) for j in joints]
    if motion == "twist" and any(j.kind == "swivel" for j in joints):
        able = [j.kind == "swivel" for j in joints]
    count = sum(able)
    return tuple(1.0 / count if a else 0.0 for a in able)


def _led(name: str, motion: Motion, wanted: dict[str, dict[Motion, Range]], skeleton: Skeleton) -> Range | None:
    """What the followed joint is wanted to do, with all that act as one with it."""
    group = next((a for a in skeleton.arrangements if name in a.joints and motion in a.whole), None)
    spans = [wanted[n][motion] for n in (group.joints if group else (name,)) if motion in wanted[n]]
    return (sum(s[0] for s in spans), sum(s[1] for s in spans)) if spans else None


def _ordered(spec: JointSpec, wanted: dict[Motion, Range]) -> dict[Motion, Range]:
    return {m: wanted[m] for m in motions_of(spec) if m in wanted}


def some_of(arrangement: Arrangement, names: Sequence[str]) -> Arrangement | None:
    """The arrangement with these of its joints and their shares alone; None where none is left."""
    kept = [k for k, name in enumerate(arrangement.joints) if name in names]
    if not kept:
        return None
    share = {m: tuple(s[k] for k in kept) for m, s in arrangement.share.items()}
    return replace(arrangement, joints=tuple(arrangement.joints[k] for k in kept), share=share)
