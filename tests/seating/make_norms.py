"""How the typical limbs of norms.py were measured: ``python -m tests.seating.make_norms`` prints their numbers."""

from __future__ import annotations

import numpy as np

from condyle.figure.seating.flesh import flesh_of
from condyle.figure.seating.limbs import take_apart
from condyle.figure.seating.matching import measures
from condyle.figure.seating.sections import Profile
from condyle.figure.seating.upright import along
from condyle.geometry.mesh import FloatArray
from tests.seating.bodies import Body
from tests.seating.family import family

BODIES = (
    "base", "female-baby", "female-child", "male-child", "toddler", "female-young", "male-young", "female-old", "male-old",
    "male-young-maxweight", "female-young-maxweight", "male-young-maxmuscle", "male-young-minweight",
    "male-young-minheight", "female-young-maxheight", "male-young-tpose", "base-arms+30", "male-young-arms-12",
)  # fmt: skip
JOINTS = {"arm": ("wrist", "elbow", "shoulder"), "leg": ("ankle", "knee", "hip")}
TAU = np.arange(0.3125, 2.8, 1.0 / 16.0)


def runs(made: Body, limb: str) -> list[FloatArray]:
    """The measures of both arms or legs of a body at TAU, (stations, 4); NaN past the limb's free part."""
    flesh = flesh_of(made.mesh, 180)
    body = take_apart(flesh)
    out = []
    for side, found in (body.arms if limb == "arm" else body.legs).items():
        line: Profile = found.profile
        marks = [0.0, *(along(line, made.joints[f"{joint}_{side}"]) for joint in JOINTS[limb])]
        tau = np.interp(line.s, marks, np.arange(4.0))
        values = measures(line, flesh.height)
        run = np.stack([np.interp(TAU, tau, values[:, k], right=np.nan) for k in range(values.shape[1])], axis=1)
        run[:, 0] -= np.nanmedian(run[:, 0])
        out.append(run)
    return out


def norms(limb: str) -> tuple[FloatArray, FloatArray]:
    """Medians and spreads (stations, 4) over the bodies."""
    makers = family()
    every = np.array([run for name in BODIES for run in runs(makers[name](), limb)])
    return np.nanmedian(every, axis=0), np.nanstd(every, axis=0)


if __name__ == "__main__":
    for limb in JOINTS:
        for title, rows in zip(("mean", "spread"), norms(limb), strict=True):
            print(limb, title)
            for row in rows:
                print("        (" + ", ".join(f"{value:.3f}" for value in row) + "),")
