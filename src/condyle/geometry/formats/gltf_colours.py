"""Colours of a glTF primitive: base colour factor × ``COLOR_0`` × base colour texture, in linear light (glTF 2.0, 3.9.2)."""

from __future__ import annotations

import base64
from collections.abc import Callable

import numpy as np

from condyle.errors import FileFormatError
from condyle.geometry.formats.colours import from_linear, of_corners, of_texture, picture_or_note, to_linear
from condyle.geometry.formats.gltf_data import Json, Store, entry
from condyle.geometry.formats.scene import Colours
from condyle.geometry.mesh import IntArray


def colours_of(primitive: Json, faces: IntArray, store: Store, notes: list[str]) -> Colours | None:
    """One colour a triangle (m, 3) of a primitive, None where the file tells none. Colours never make a file unreadable."""
    try:
        return _colours_of(primitive, faces, store, notes)
    except (FileFormatError, KeyError, TypeError, ValueError, IndexError, AttributeError):
        notes.append("the colours of a mesh are not well formed and were passed over")
        return None


def _colours_of(primitive: Json, faces: IntArray, store: Store, notes: list[str]) -> Colours | None:
    attributes = primitive["attributes"]
    light = np.ones((len(faces), 3))
    told = False
    if "material" in primitive:
        surface = (
            entry(store.document, "materials", primitive["material"], store.file).get("pbrMetallicRoughness") or {}
        )
        if "baseColorFactor" in surface:
            light = light * np.array([float(v) for v in surface["baseColorFactor"][:3]])
            told = True
        texture = surface.get("baseColorTexture")
        if texture is not None:
            uv = attributes.get(f"TEXCOORD_{texture.get('texCoord', 0)}")
            image = entry(store.document, "textures", texture["index"], store.file).get("source")
            if uv is not None and image is not None:
                picture = picture_or_note(_image(store, image), notes)
                if picture is not None:
                    middles = store.accessor(uv).astype(np.float64)[faces].mean(axis=1)
                    light = light * to_linear(of_texture(picture, middles, from_top=True))
                    told = True
    if "COLOR_0" in attributes:
        values = store.accessor(attributes["COLOR_0"]).astype(np.float64)[:, :3]
        light = light * to_linear(of_corners(from_linear(values), faces))
        told = True
    return from_linear(light) if told else None


def _image(store: Store, index: object) -> Callable[[], bytes]:
    def data() -> bytes:
        image = entry(store.document, "images", index, store.file)
        uri = image.get("uri")
        if uri is None:
            return store.view_bytes(image["bufferView"])
        if str(uri).startswith("data:"):
            return base64.b64decode(str(uri).partition(",")[2])
        return store.side_file(str(uri))

    return data
