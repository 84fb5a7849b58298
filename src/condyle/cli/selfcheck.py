"""Is this installation sound? Published worked examples are computed and compared, and a small kit is built and proved.

Every example names where its answer is printed. The tolerances are those of the printed digits.
"""

from __future__ import annotations

import json
import math
import platform
import sys
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from condyle import __version__
from condyle.cli.screen import to_screen
from condyle.geometry.formats import stl_bytes
from condyle.geometry.mass import mass_properties
from condyle.geometry.mesh import Mesh
from condyle.joints.mechanics import ball_socket, cantilever, friction, press
from condyle.project.cache import library_versions
from condyle.workshop.calibration import ordinal


@dataclass(frozen=True)
class Example:
    """A published answer, and what is computed here for the same question."""

    what: str
    source: str
    unit: str
    printed: float
    tolerance: float
    compute: Callable[[], float]


_BHANDARI = "Bhandari, Design of Machine Elements"


def _slope_of_24_launches() -> float:
    cold = [53, 56, 57, 70, 70, 70, 75]
    sound = [63, 66, 67, 67, 67, 68, 69, 70, 72, 73, 75, 76, 76, 78, 79, 80, 81]
    data = ordinal.outcomes([*cold, *sound], [1] * len(cold) + [0] * len(sound), 2)
    return ordinal.fit(data, link="logit").slope


EXAMPLES: tuple[Example, ...] = (
    Example(
        "two tubes shrunk together: inner diameter of the jacket",
        f"{_BHANDARI}, example 22.6",
        "mm",
        39.968289,
        5e-7,
        lambda: 40.0 - 2.0 * press.interference_for_mm(100.0 * 20 / 52, 40.0, 60.0, 207e3, 0.3, bore_mm=20.0),
    ),
    Example(
        "wall of an open cylinder under pressure",
        f"{_BHANDARI}, example 22.5",
        "mm",
        7.285750,
        5e-7,
        lambda: press.wall_mm(12.0, 100.0, 92.0, 0.27),
    ),
    Example(
        "torque of a collar, even wear",
        f"{_BHANDARI}, example 11.1",
        "N·mm",
        235619.449,
        5e-4,
        lambda: friction.collar_torque_nmm(math.pi * 0.5 * 100 * 100, 200.0, 100.0, 0.2, "wear"),
    ),
    Example(
        "torque of a collar, even pressure",
        f"{_BHANDARI}, example 11.2",
        "N·mm",
        366519.143,
        5e-4,
        lambda: friction.collar_torque_nmm(math.pi / 4 * (200**2 - 100**2), 200.0, 100.0, 0.2, "pressure"),
    ),
    Example(
        "deflection of a tapered snap hook at 2 % strain",
        "Snap-Fit Joints for Plastics, a design guide, example I (from memory)",
        "mm",
        2.40,
        5e-3,
        lambda: cantilever.deflection_mm(0.02, 19.0, 3.28, 0.5),
    ),
    Example(
        "lip angle of a plain ball socket at 2 % strain",
        "acos(1/1.02), by hand",
        "°",
        11.36,
        5e-3,
        lambda: ball_socket.plain_socket_lip_deg(0.02),
    ),
    Example(
        "volume of a corner tetrahedron of a unit cube",
        "one sixth, Euclid XII.7",
        "mm³",
        1 / 6,
        1e-12,
        lambda: mass_properties(_tetrahedron()).volume_mm3,
    ),
    Example(
        "slope of a logistic regression of 24 launches, by the fitting core of calibrate",
        "a text on regression, as printed",
        "per degree",
        -0.17132,
        5e-6,
        _slope_of_24_launches,
    ),
    Example(
        "size of a binary STL file of four triangles",
        "84 + 50 n, the format of 1989",
        "bytes",
        284,
        0,
        lambda: float(len(stl_bytes(_tetrahedron()))),
    ),
)


def _tetrahedron() -> Mesh:
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    return Mesh(corners, np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], dtype=np.int32))


@dataclass(frozen=True)
class Outcome:
    """One check: what, whether it holds, and what was seen."""

    check: str
    sound: bool
    seen: str


def outcomes() -> Iterator[Outcome]:
    """All checks, one after the other."""
    for example in EXAMPLES:
        value = example.compute()
        sound = abs(value - example.printed) <= example.tolerance
        seen = f"{value:.9g} {example.unit}, printed {example.printed:.9g} ({example.source})"
        yield Outcome(example.what, sound, seen)
    try:
        from condyle.cli.smallkit import small_kit_outcome

        yield Outcome("a small kit of two parts and a ball", *small_kit_outcome())
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        yield Outcome("a small kit of two parts and a ball", False, f"{error} ({last.name}, line {last.lineno})")


def versions() -> dict[str, str]:
    """Condyle, Python, and the libraries that shape results."""
    return {"condyle": __version__, "python": platform.python_version(), **library_versions()}


def run_selfcheck(*, as_json: bool) -> bool:
    """Do the checks and show them; whether all hold."""
    done = []
    screen = to_screen()
    for outcome in outcomes():
        done.append(outcome)
        if not as_json:
            word = "pass" if outcome.sound else "FAIL"
            screen.print(f"{word}  {outcome.check}: {outcome.seen}", markup=False, soft_wrap=True)
    sound = all(o.sound for o in done)
    if as_json:
        checks = [{"check": o.check, "sound": o.sound, "seen": o.seen} for o in done]
        json.dump({"sound": sound, "versions": versions(), "checks": checks}, sys.stdout, indent=2, ensure_ascii=False)
        sys.stdout.write("\n")
    else:
        screen.print(", ".join(f"{k} {v}" for k, v in versions().items()), markup=False)
        screen.print("pass: this installation is sound" if sound else "fail: do not trust this installation")
    return sound
