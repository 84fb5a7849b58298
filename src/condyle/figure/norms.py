"""What a skeleton's joints are wanted to do, by a published norm of human joints, times a factor."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

from condyle.errors import UsageError
from condyle.figure.skeleton import Arrangement, JointSpec, Motion, Range, Skeleton

OWN = "skeleton"
"""The name of no norm: the skeleton's own ranges."""

_TURNED_BY = {"biceps": "shoulder", "thigh": "hip"}


@dataclass(frozen=True)
class Norm:
    """Ranges by joint (without its side) and motion, degrees from the human zero, and where they come from."""

    name: str
    title: str
    source: str
    ranges: dict[str, dict[Motion, Range]]


@cache
def norms() -> dict[str, Norm]:
    """All norms by name."""
    text = (resources.files("condyle.figure") / "norms.toml").read_text(encoding="utf-8")
    found = {}
    for name, table in tomllib.loads(text).items():
        ranges = {
            joint: {motion: (float(span[0]), float(span[1])) for motion, span in spans.items()}
            for joint, spans in table.items()
            if isinstance(spans, dict)
        }
        found[name] = Norm(name, table["title"], table["source"], ranges)
    return found


def norm_names() -> tuple[str, ...]:
    """Every name that may be asked for, the skeleton's own first."""
    return (OWN, *norms())


def normed(skeleton: Skeleton, name: str, factor: float = 1.0) -> Skeleton:
    """The skeleton with the norm's ranges in the place of its own, both times ``factor``.

    Only motions that the skeleton wants are replaced, so that a limb's twist stays with the joint that has it. Joints of the
    maker's own keep what they were drawn for. UsageError ``figure.norms`` for an unknown name.
    """
    if name not in norm_names():
        raise UsageError("figure.norms", f"there is no norm {name!r}", hint="the norms: " + ", ".join(norm_names()))
    table = norms()[name].ranges if name != OWN else {}
    if not table and factor == 1.0:
        return skeleton
    groups = tuple(_whole(a, table, factor) for a in skeleton.arrangements)
    return replace(skeleton, joints=tuple(_spec(j, table, factor) for j in skeleton.joints), arrangements=groups)


def _spec(spec: JointSpec, table: dict[str, dict[Motion, Range]], factor: float) -> JointSpec:
    if spec.custom is not None:
        return spec
    stem = spec.name.removesuffix("_left").removesuffix("_right")
    told = table.get(_TURNED_BY.get(stem, stem), {})
    wanted = {motion: told.get(motion, own) for motion, own in spec.wanted.items()}
    return replace(spec, wanted={m: (factor * low, factor * high) for m, (low, high) in wanted.items()})


def _whole(group: Arrangement, table: dict[str, dict[Motion, Range]], factor: float) -> Arrangement:
    """The arrangement with the norm's range of the human joint that it is named after."""
    told = table.get(group.name.removesuffix("_left").removesuffix("_right"), {})
    whole = {motion: told.get(motion, own) for motion, own in group.whole.items()}
    return replace(group, whole={m: (factor * low, factor * high) for m, (low, high) in whole.items()})
