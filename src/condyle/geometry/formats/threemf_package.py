"""The package around a 3MF model: a ZIP after the Open Packaging Conventions, opened with distrust.

Nothing is written to disk. Names that lead out of the package, two parts of one name, encryption, and parts that unpack
to far more than they hold are refused; only the parts that are needed are unpacked at all.
"""

from __future__ import annotations

import io
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import unquote
from xml.parsers import expat

from condyle.errors import FileFormatError
from condyle.geometry.formats.limits import EXPORT_AGAIN, MAX_FILE_BYTES, printable, refusal

MODEL_TYPE = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
RELATIONSHIPS_TYPE = "application/vnd.openxmlformats-package.relationships+xml"
MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
CONTENT_TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"
RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
_TICKET_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/printticket"
_THUMBNAIL_RELATION = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
_TEXTURE_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dtexture"
_KNOWN_RELATIONS = (MODEL_RELATION, _TICKET_RELATION, _THUMBNAIL_RELATION, _TEXTURE_RELATION)

# whatever the standard library's reader lets out when the bytes of an archive are damaged
_BROKEN_ZIP = (
    zipfile.BadZipFile, zlib.error, struct.error, EOFError, OSError, ValueError, IndexError, OverflowError,
    RuntimeError, NotImplementedError,
)  # fmt: skip
_MAX_PARTS = 10_000
_MAX_RATIO = 200
_RATIO_COUNTS_FROM = 8 * 1024**2
_MAX_SMALL_PART = 16 * 1024**2


@dataclass(frozen=True)
class Relation:
    kind: str
    target: str


class Package:
    """The parts of a 3MF file by name (``/3D/3dmodel.model``)."""

    def __init__(self, data: bytes, file: str) -> None:
        self.file = file
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
        except _BROKEN_ZIP:
            raise refusal(
                "truncated", "the file is no whole ZIP archive, as a 3MF file has to be", EXPORT_AGAIN, file
            ) from None
        self._parts: dict[str, zipfile.ZipInfo] = {}
        self._check_parts(self._zip.infolist())
        self._defaults: dict[str, str] = {}
        self._overrides: dict[str, str] = {}
        self._read_content_types()

    def __contains__(self, name: str) -> bool:
        return name.lower() in self._parts

    def _check_parts(self, infos: list[zipfile.ZipInfo]) -> None:
        if len(infos) > _MAX_PARTS:
            raise self._bomb(f"the archive holds {len(infos):,} files")
        for info in infos:
            name = info.filename
            if (
                not name
                or name.startswith("/")
                or "\\" in name
                or ":" in name
                or ".." in name.split("/")
                or not name.isprintable()
            ):
                raise self._trick(name)
            if info.flag_bits & 0x1:
                raise refusal(
                    "unsupported", f"{printable(name)!r} is encrypted", "Export without a password.", self.file
                )
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise refusal(
                    "unsupported",
                    f"{printable(name)!r} is packed in a way that 3MF does not allow",
                    EXPORT_AGAIN,
                    self.file,
                )
            if info.is_dir():
                continue
            if "/" + name.lower() in self._parts:
                raise refusal("syntax", f"the archive holds {printable(name)!r} twice", EXPORT_AGAIN, self.file)
            self._parts["/" + name.lower()] = info
        total = sum(i.file_size for i in self._parts.values())
        if total > MAX_FILE_BYTES:
            raise self._bomb(f"the archive unpacks to {total / 1024**3:,.1f} GiB")

    def read(self, name: str, limit: int = MAX_FILE_BYTES) -> bytes:
        """The bytes of a part; FileFormatError when it is missing, damaged, or a ZIP bomb."""
        info = self._parts.get(name.lower())
        if info is None:
            raise refusal(
                "missing", f"the part {printable(name)!r} is missing from the package", EXPORT_AGAIN, self.file
            )
        packed = max(info.compress_size, 1)
        if info.file_size > limit or (info.file_size > _RATIO_COUNTS_FROM and info.file_size > _MAX_RATIO * packed):
            raise self._bomb(f"{printable(name)!r} unpacks from {packed:,} to {info.file_size:,} bytes")
        try:
            with self._zip.open(info) as stream:
                data = stream.read(info.file_size + 1)
        except _BROKEN_ZIP:
            raise refusal(
                "truncated", f"{printable(name)!r} is damaged in the archive", EXPORT_AGAIN, self.file
            ) from None
        if len(data) != info.file_size:
            raise refusal("truncated", f"{printable(name)!r} is cut short in the archive", EXPORT_AGAIN, self.file)
        return data

    def content_type(self, name: str) -> str | None:
        return self._overrides.get(name.lower()) or self._defaults.get(posixpath.splitext(name)[1].lower().lstrip("."))

    def relations(self, source: str = "/") -> list[Relation]:
        """The relations of a part, or of the package. What a model needs must exist and lie inside the package."""
        folder, base = posixpath.split(source)
        name = posixpath.join(folder, "_rels", base + ".rels")
        if name not in self:
            return []
        found: list[Relation] = []

        def start(tag: str, values: dict[str, str]) -> None:
            if tag != f"{RELATIONSHIPS} Relationship":
                return
            kind, target = values.get("Type", ""), values.get("Target", "")
            if kind not in _KNOWN_RELATIONS:
                return
            if values.get("TargetMode", "Internal") != "Internal":
                raise refusal(
                    "path", f"the package points outside itself: {printable(target)!r}", EXPORT_AGAIN, self.file
                )
            found.append(Relation(kind, self.resolve(target, folder)))

        parse_xml(self.read(name, _MAX_SMALL_PART), start, self.file, name)
        for relation in found:
            if relation.target not in self:
                raise refusal(
                    "missing",
                    f"the package names {printable(relation.target)!r}, which it does not hold",
                    EXPORT_AGAIN,
                    self.file,
                )
        if sum(r.kind == _TICKET_RELATION for r in found) > 1:
            raise refusal("syntax", "the package names more than one print ticket", EXPORT_AGAIN, self.file)
        return found

    def resolve(self, target: str, folder: str = "/") -> str:
        """A target as a part name; what leads out of the package is refused."""
        plain = unquote(target)
        joined = posixpath.join(folder, plain)
        if not plain or "\\" in plain or ":" in plain or ".." in plain.split("/") or not plain.isprintable():
            raise self._trick(target)
        return "/" + posixpath.normpath(joined).lstrip("/")

    def _read_content_types(self) -> None:
        def start(tag: str, values: dict[str, str]) -> None:
            kind = values.get("ContentType", "")
            if tag == f"{CONTENT_TYPES} Default":
                self._defaults[values.get("Extension", "").lower()] = kind
            elif tag == f"{CONTENT_TYPES} Override":
                self._overrides[values.get("PartName", "").lower()] = kind

        name = "/[Content_Types].xml"
        if name not in self:
            raise refusal(
                "kind",
                "this ZIP archive is no 3MF package: it has no [Content_Types].xml",
                "Give the mesh file itself, not an archive of it.",
                self.file,
            )
        parse_xml(self.read(name, _MAX_SMALL_PART), start, self.file, name)

    def _trick(self, name: str) -> FileFormatError:
        return refusal(
            "path",
            f"the package holds a name that could lead out of it: {printable(name)!r}",
            "Export the sculpt again from the sculpting program itself.",
            self.file,
        )

    def _bomb(self, message: str) -> FileFormatError:
        return refusal(
            "bomb",
            f"{message}, more than can be read safely",
            "Export the sculpt again, with fewer triangles if it is very large.",
            self.file,
        )


def parse_xml(
    data: bytes,
    start: Callable[[str, dict[str, str]], None],
    file: str,
    part: str,
    end: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
    namespace: Callable[[str | None, str], None] | None = None,
) -> None:
    """Run handlers over XML (tags and attributes as ``namespace name``), without any document type or entity.

    Only UTF-8 and UTF-16 are let in, as 3MF asks. FileFormatErrors of the handlers pass through with the line added.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True

    def doctype(*_: object) -> None:
        raise refusal(
            "entities",
            "the XML declares a document type or entities, which 3MF forbids",
            "Export the sculpt again from the sculpting program itself.",
            file,
        )

    def declaration(_: str, encoding: str | None, __: int) -> None:
        if encoding is not None and encoding.lower() not in ("utf-8", "utf-16"):
            raise refusal("syntax", f"the XML is written in {printable(encoding)}, not in UTF-8", EXPORT_AGAIN, file)

    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = doctype
    parser.XmlDeclHandler = declaration
    parser.StartElementHandler = start
    if end is not None:
        parser.EndElementHandler = end
    if text is not None:
        parser.CharacterDataHandler = text
    if namespace is not None:
        parser.StartNamespaceDeclHandler = namespace
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        reason = expat.ErrorString(error.code) or "broken"
        raise refusal(
            "syntax", f"the XML of {part} is not well formed: {reason}", EXPORT_AGAIN, file, error.lineno
        ) from None
    except FileFormatError as error:
        raise refusal(
            error.code.removeprefix("file."), f"{error.message} (in {part})", error.hint, file, parser.CurrentLineNumber
        ) from None
    except (ValueError, LookupError):
        raise refusal(
            "syntax", f"the XML of {part} is in an encoding that cannot be read", EXPORT_AGAIN, file
        ) from None
