"""Colours and materials of a 3MF model: not used, but checked, since a broken reference means a broken file.

Groups of the core specification and of its materials and properties extension share one space of numbers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from condyle.errors import FileFormatError
from condyle.geometry.formats.limits import EXPORT_AGAIN, printable, refusal

MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}([0-9A-Fa-f]{2})?")
_REQUIRED: dict[str, tuple[str, ...]] = {
    "basematerials": ("id",),
    "base": ("name", "displaycolor"),
    "colorgroup": ("id",),
    "color": ("color",),
    "texture2d": ("id", "path", "contenttype"),
    "texture2dgroup": ("id", "texid"),
    "tex2coord": ("u", "v"),
    "compositematerials": ("id", "matid", "matindices"),
    "composite": ("values",),
    "multiproperties": ("id", "pids"),
    "multi": ("pindices",),
}
_IMAGE_TYPES = ("image/png", "image/jpeg")


@dataclass(frozen=True)
class _Group:
    kind: str
    values: dict[str, str]


class Properties:
    """Collects property groups and the references to them; ``check`` holds the ones against the others."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._groups: dict[int, _Group] = {}
        self._taken: set[int] = set()
        self._referred: set[int] = set()

    def claim(self, number: int) -> None:
        """Take a number for a resource; each may be taken once in a model."""
        if number in self._taken:
            raise self._bad(f"the resource number {number} is used twice")
        self._taken.add(number)

    def refer(self, number: int) -> None:
        """Note that an object or triangle uses a group."""
        self._referred.add(number)

    def add(self, kind: str, values: dict[str, str]) -> None:
        """An element of the core or the materials namespace as it begins."""
        for key in _REQUIRED.get(kind, ()):
            if key not in values:
                raise self._bad(f"{kind!r} lacks its {key!r}")
        for key in ("displaycolor", "color"):
            if kind in ("base", "color") and key in values and not _COLOUR.fullmatch(values[key]):
                raise self._bad(f"{printable(values[key])!r} is no colour")
        if kind == "texture2d" and values["contenttype"] not in _IMAGE_TYPES:
            raise self._bad(f"a texture is of the type {printable(values['contenttype'])!r}, which 3MF does not allow")
        if kind in _REQUIRED and "id" in _REQUIRED[kind]:
            number = self._number(values["id"])
            self.claim(number)
            self._groups[number] = _Group(kind, values)

    def check(self) -> None:
        """References among groups, and to groups. FileFormatError for one that leads nowhere or to the wrong kind."""
        for number in sorted(self._referred):
            if number not in self._groups or self._groups[number].kind == "texture2d":
                raise self._bad(f"the property group {number} is used but not defined")
        for group in self._groups.values():
            if group.kind == "texture2dgroup":
                self._expect(group.values["texid"], "texture2d")
            elif group.kind == "compositematerials":
                self._expect(group.values["matid"], "basematerials")
            elif group.kind == "multiproperties":
                self._check_layers(group.values["pids"])

    def _check_layers(self, pids: str) -> None:
        kinds = []
        for word in pids.split():
            group = self._groups.get(self._number(word))
            if group is None:
                raise self._bad(f"multiproperties use the group {printable(word)}, which is not defined")
            kinds.append(group.kind)
        materials = kinds.count("basematerials") + kinds.count("compositematerials")
        if not kinds or materials > 1 or kinds.count("colorgroup") > 1 or "multiproperties" in kinds:
            raise self._bad("multiproperties mix groups in a way that 3MF does not allow")

    def _expect(self, word: str, kind: str) -> None:
        group = self._groups.get(self._number(word))
        if group is None or group.kind != kind:
            raise self._bad(f"the group {printable(word)} should be {kind!r} and is not")

    def _number(self, word: str) -> int:
        try:
            number = int(word)
        except ValueError:
            number = 0
        if not 0 < number < 2**31:
            raise self._bad(f"{printable(word)!r} is no number that 3MF allows")
        return number

    def _bad(self, message: str) -> FileFormatError:
        return refusal("syntax", message, EXPORT_AGAIN, self._file)
