"""Values of the lower layers as bytes and back, the same bytes for the same value.

A value becomes a tree of JSON and a row of arrays, held together in one uncompressed .npz file: ``tree.json`` and
``0.npy``, ``1.npy`` … Known are numbers, text, tuples, lists, dictionaries, arrays, solids and frozen dataclasses of
Condyle itself. Nothing that runs code is ever read back: no pickles, and no class from outside the package.
"""

from __future__ import annotations

import dataclasses
import importlib
import io
import json
import zipfile
from typing import Any

import numpy as np

from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid, solid_from_mesh

_TREE = "tree.json"
_EPOCH = (1980, 1, 1, 0, 0, 0)
_PACKAGE = "condyle."


def to_bytes(value: Any) -> bytes:
    """The value as an .npz file. TypeError for a kind of value that is not known here."""
    arrays: list[np.ndarray[Any, Any]] = []
    tree = json.dumps(_encode(value, arrays), ensure_ascii=True, separators=(",", ":")).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        _store(archive, _TREE, tree)
        for number, array in enumerate(arrays):
            body = io.BytesIO()
            np.lib.format.write_array(body, array, version=(1, 0), allow_pickle=False)
            _store(archive, f"{number}.npy", body.getvalue())
    return out.getvalue()


def from_bytes(data: bytes) -> Any:
    """The value back. Broken bytes raise one of the usual errors of zipfile, json and numpy, or a CondyleError."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        tree = json.loads(archive.read(_TREE))
        arrays = [
            np.lib.format.read_array(io.BytesIO(archive.read(f"{n}.npy")), allow_pickle=False)
            for n in range(len(archive.namelist()) - 1)
        ]
    return _decode(tree, arrays)


def _store(archive: zipfile.ZipFile, name: str, body: bytes) -> None:
    entry = zipfile.ZipInfo(name, _EPOCH)
    entry.external_attr = 0o644 << 16
    archive.writestr(entry, body)


def _encode(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        arrays.append(np.ascontiguousarray(value))
        return {"array": len(arrays) - 1}
    if isinstance(value, tuple):
        return {"tuple": [_encode(v, arrays) for v in value]}
    if isinstance(value, list):
        return [_encode(v, arrays) for v in value]
    if isinstance(value, dict) or hasattr(value, "items"):
        return {"dict": [[_encode(k, arrays), _encode(v, arrays)] for k, v in value.items()]}
    if isinstance(value, Solid):
        return {"solid": [_encode(value.mesh.vertices, arrays), _encode(value.mesh.faces, arrays)]}
    if dataclasses.is_dataclass(value) and type(value).__module__.startswith(_PACKAGE):
        fields = {f.name: _encode(getattr(value, f.name), arrays) for f in dataclasses.fields(value) if f.init}
        return {"class": f"{type(value).__module__}:{type(value).__qualname__}", "fields": fields}
    raise TypeError(f"no way to store a {type(value).__name__}")


def _decode(tree: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if isinstance(tree, list):
        return [_decode(v, arrays) for v in tree]
    if not isinstance(tree, dict):
        return tree
    if "array" in tree:
        return arrays[tree["array"]]
    if "tuple" in tree:
        return tuple(_decode(v, arrays) for v in tree["tuple"])
    if "dict" in tree:
        return {_decode(k, arrays): _decode(v, arrays) for k, v in tree["dict"]}
    if "solid" in tree:
        vertices, faces = (_decode(v, arrays) for v in tree["solid"])
        return solid_from_mesh(Mesh(vertices, faces), "stored solid")
    module, _, name = tree["class"].partition(":")
    if not module.startswith(_PACKAGE):
        raise TypeError(f"not a class of ours: {tree['class']}")
    kind: Any = getattr(importlib.import_module(module), name)
    if not (isinstance(kind, type) and dataclasses.is_dataclass(kind)):
        raise TypeError(f"not a value: {tree['class']}")
    return kind(**{k: _decode(v, arrays) for k, v in tree["fields"].items()})
