"""A sculptor's guide as files: guide.glb and guide.obj with every object by name, and one STL for each kind of object.

Objects are named ``flesh:BONE``, ``hardware:JOINT``, ``cavity:JOINT``, ``sweep:JOINT`` and ``mark:JOINT``. STL and OBJ are
in mm, z up, x forward; the GLB is in metres, y up, under a root node ``guide``, as the glTF format wants, and holds an
empty node ``joint:NAME`` at each centre.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condyle.errors import SolidError
from condyle.export.glb import named_glb
from condyle.export.written import checked_part
from condyle.figure.guide import Guide
from condyle.finding import Point
from condyle.geometry.formats import as_written, stl_bytes
from condyle.geometry.mesh import Mesh
from condyle.geometry.primitives import cylinder, sphere
from condyle.geometry.solid import Solid, union

_MARK_MM = 6.0
_LYING_X = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)
_LYING_Y = np.array([[1, 0, 0, 0], [0, 0, 1, 0], [0, -1, 0, 0], [0, 0, 0, 1]], dtype=np.float64)


def guide_files(guide: Guide) -> dict[str, bytes]:
    """The guide's files by name. The same guide gives the same bytes."""
    groups = {
        "flesh": list(guide.flesh.items()),
        "hardware": list(guide.hardware.items()),
        "cavity": list(guide.cavities.items()),
        "sweep": list(guide.sweeps.items()),
        "mark": [(j.name, _mark().transformed(j.frame.matrix)) for j in guide.joints],
    }
    objects = [(f"{kind}:{name}", as_written(solid.mesh)) for kind, found in groups.items() for name, solid in found]
    centres: list[tuple[str, Point]] = []
    for joint in guide.joints:
        x, y, z = (float(v) for v in joint.frame.origin)
        centres.append((f"joint:{joint.name}", (x, y, z)))
    files = {"guide.glb": named_glb("guide", objects, centres), "guide.obj": _obj(objects)}
    for kind, found in groups.items():
        if found:
            files[f"guide-{kind}.stl"] = stl_bytes(_closed(union([solid for _, solid in found], kind), kind))
    return files


def _closed(solid: Solid, kind: str) -> Mesh:
    """The mesh as written; where forms that lie flush leave slivers it is simplified by up to 0.03 mm, which no one sees
    in a guide."""
    for tolerance in (0.0, 0.01, 0.03):
        try:
            return checked_part(solid.simplified(tolerance) if tolerance else solid, f"guide {kind}")
        except SolidError:
            continue
    return as_written(solid.mesh)


def _mark() -> Solid:
    """A joint's mark: a small ball, and three rods along its x, y and z of 3, 2 and 4 times its size."""
    rods = [
        cylinder(0.25, 0.0, 0.75 * _MARK_MM).transformed(_LYING_X),
        cylinder(0.25, 0.0, 0.5 * _MARK_MM).transformed(_LYING_Y),
        cylinder(0.25, 0.0, _MARK_MM),
    ]
    return union([sphere(0.8), *rods], "mark")


def _obj(objects: Sequence[tuple[str, Mesh]]) -> bytes:
    """Named objects as Wavefront OBJ: vertices and triangles only, numbered through the file."""
    lines = ["# Sculptor's guide, mm, z up, x forward"]
    first = 1
    for name, mesh in objects:
        lines.append(f"o {name}")
        lines += [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in mesh.vertices.tolist()]
        lines += [f"f {a + first} {b + first} {c + first}" for a, b, c in mesh.faces.tolist()]
        first += len(mesh.vertices)
    return ("\n".join(lines) + "\n").encode("ascii")
