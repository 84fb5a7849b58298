"""Writing 3MF: millimetres, one named object a mesh, vertices as they are, one transform for all. Same meshes, same bytes."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import quoteattr

import numpy as np

from condyle.errors import UsageError
from condyle.finding import Point
from condyle.geometry.formats.stl import as_written
from condyle.geometry.formats.threemf_model import CORE
from condyle.geometry.formats.threemf_package import (
    CONTENT_TYPES,
    MODEL_RELATION,
    MODEL_TYPE,
    RELATIONSHIPS,
    RELATIONSHIPS_TYPE,
)
from condyle.geometry.mesh import Mesh

_MODEL_PART = "3D/3dmodel.model"
_EARLIEST = (1980, 1, 1, 0, 0, 0)
_DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>\n'


def threemf_bytes(objects: Sequence[tuple[str, Mesh]], *, translation: Point = (0.0, 0.0, 0.0)) -> bytes:
    """A 3MF package with each mesh (mm) as a named object of the build, all moved by ``translation`` (mm).

    Vertices are rounded to float32 and equal ones merged, so a 3MF and an STL of one mesh agree to the last digit; the
    move stands in the items, not in the vertices. UsageError for no objects, a mesh without triangles, or a repeated name.
    """
    names = [name for name, _ in objects]
    if not objects or len(set(names)) != len(names):
        raise UsageError("threemf.objects", "a 3MF file needs at least one object, and each with a name of its own")
    head = (
        _DECLARATION + f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n'
        '<metadata name="Application">Condyle</metadata>\n<resources>\n'
    )
    pieces = [head]
    for number, (name, mesh) in enumerate(objects, 1):
        written = as_written(mesh)
        if not written.triangle_count:
            raise UsageError("threemf.empty", f"the mesh {name!r} has no triangles")
        pieces.append(f'<object id="{number}" type="model" name={quoteattr(name)}>\n<mesh>\n<vertices>\n')
        pieces.append(_rows('<vertex x="%.9g" y="%.9g" z="%.9g"/>\n', written.vertices))
        pieces.append("</vertices>\n<triangles>\n")
        pieces.append(_rows('<triangle v1="%d" v2="%d" v3="%d"/>\n', written.faces))
        pieces.append("</triangles>\n</mesh>\n</object>\n")
    pieces.append("</resources>\n<build>\n")
    moved = "1 0 0 0 1 0 0 0 1 " + " ".join(f"{float(np.float32(v)):.9g}" for v in translation)
    pieces += [f'<item objectid="{number}" transform="{moved}"/>\n' for number in range(1, len(objects) + 1)]
    pieces.append("</build>\n</model>\n")
    types = (
        f'{_DECLARATION}<Types xmlns="{CONTENT_TYPES}">'
        f'<Default Extension="rels" ContentType="{RELATIONSHIPS_TYPE}"/>'
        f'<Default Extension="model" ContentType="{MODEL_TYPE}"/></Types>\n'
    )
    relations = (
        f'{_DECLARATION}<Relationships xmlns="{RELATIONSHIPS}">'
        f'<Relationship Target="/{_MODEL_PART}" Id="rel0" Type="{MODEL_RELATION}"/></Relationships>\n'
    )
    return _packed([("[Content_Types].xml", types), ("_rels/.rels", relations), (_MODEL_PART, "".join(pieces))])


def _rows(template: str, values: np.ndarray) -> str:
    """The template filled once for each row of three, by one formatting call for many rows."""
    blocks = []
    for start in range(0, len(values), 10_000):
        rows = values[start : start + 10_000]
        blocks.append((template * len(rows)) % tuple(rows.ravel().tolist()))
    return "".join(blocks)


def _packed(parts: Sequence[tuple[str, str]]) -> bytes:
    """A ZIP without dates and without traces of the machine it was made on."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in parts:
            info = zipfile.ZipInfo(name, _EARLIEST)
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 0, 0
            archive.writestr(info, text.encode("utf-8"), compresslevel=6)
    return out.getvalue()
