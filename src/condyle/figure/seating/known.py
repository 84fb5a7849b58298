"""Joint centres that a skinned file brings along: whose joint is it?

Names in files follow no standard. A name is cut into words (at capitals, digits and signs), a side is looked for among
the words, and the rest is compared with the words for the bone that the joint moves: in a skinned file a joint carries
the name of its bone, so ``LeftForeArm`` and ``forearm.L`` both stand at the elbow.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from condyle.finding import Point

_LEFT, _RIGHT = {"l", "left", "lft"}, {"r", "right", "rgt"}
_NOISE = {"bone", "joint", "jnt", "def", "bip", "rig", "skin", "b", "j", "c", "ctrl", "mid", "middle"}
# Words by joint, the surest first; the words are joined without spaces before they are compared.
_LIMB = {
    "shoulder": ("upperarm", "armupper", "uparm", "humerus", "arm", "shoulder"),
    "elbow": ("elbow", "forearm", "lowerarm", "armlower", "lowarm", "ulna"),
    "wrist": ("wrist", "hand"),
    "hip": ("thigh", "upleg", "upperleg", "legupper", "femur", "hip", "leg"),
    "knee": ("knee", "shin", "calf", "lowerleg", "leglower", "lowleg", "tibia", "leg"),
    "ankle": ("ankle", "foot"),
}
_MIDDLE = {"neck": ("neck",), "waist": ("waist", "spine", "abdomen", "torso")}


def match_known(known: Mapping[str, Point], wanted: Iterable[str]) -> dict[str, Point]:
    """Centres by the skeleton's joint names, for those of ``wanted`` that a file's joint stands for.

    A name that is exactly a wanted one is taken as it is. Of several candidates (``spine``, ``spine1``) the first in
    order of number is taken: that is the lowest one.
    """
    out = {name: known[name] for name in wanted if name in known}
    readings = {name: _read(name) for name in known}
    for name in wanted:
        if name in out:
            continue
        stem, _, side = name.rpartition("_")
        words = _LIMB.get(stem) if side in ("left", "right") else _MIDDLE.get(name)
        if words is None:
            continue
        here = sorted(
            (number, original)
            for original, (own_side, core, number) in readings.items()
            if own_side == (side if side in ("left", "right") else "") and core in words
        )
        cores = {readings[original][1] for _, original in here}
        if stem == "knee" and not cores & set(words[:-1]) and not _has(readings, side, ("thigh", "upleg", "upperleg")):
            continue  # a lone "leg" is the hip's
        if stem == "hip" and cores == {"leg"} and _has(readings, side, ("thigh", "upleg", "upperleg")):
            continue
        if stem == "shoulder" and cores == {"shoulder"} and not _has(readings, side, ("elbow", "forearm", "lowerarm")):
            continue
        for word in words:
            found = next((original for _, original in here if readings[original][1] == word), None)
            if found is not None:
                out[name] = known[found]
                break
    return out


def _has(readings: Mapping[str, tuple[str, str, int]], side: str, cores: tuple[str, ...]) -> bool:
    return any(own == side and core in cores for own, core, _ in readings.values())


def _read(name: str) -> tuple[str, str, int]:
    """Side (left, right or empty), the joined words, and the trailing number (0 for none)."""
    name = name.rsplit(":", 1)[-1].rsplit("|", 1)[-1]
    spaced = re.sub(r"([a-z0-9])([A-Z])", r"\1 \2", name)
    words = [w.lower() for w in re.findall(r"[A-Za-z]+|\d+", spaced)]
    number = 0
    core: list[str] = []
    side = ""
    for word in words:
        if word.isdigit():
            number = int(word)
        elif word in _LEFT:
            side = "left"
        elif word in _RIGHT:
            side = "right"
        elif word not in _NOISE:
            core.append(word)
    joined = "".join(core)
    for word, found in (("left", "left"), ("right", "right")):
        if not side and joined.startswith(word):
            side, joined = found, joined[len(word) :]
        elif not side and joined.endswith(word):
            side, joined = found, joined[: -len(word)]
    return side, joined, number
