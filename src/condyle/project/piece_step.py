"""Pieces of a figure file: read, brought to the figure's place and size together with the body, and seated on the kit."""

from __future__ import annotations

import difflib
from dataclasses import replace

from condyle.errors import FigureFileError, InputError
from condyle.figure.intake import Intake, IntakeWanted, take_in
from condyle.figure.kit import Kit
from condyle.figure.pieces import Piece, with_pieces
from condyle.figure.skeleton import Skeleton
from condyle.geometry.formats.scene import NamedMesh, Scene
from condyle.joints.stock import stock_of
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument
from condyle.project.piece_model import PieceTable
from condyle.project.sculpt import SculptFiles, load_sculpt
from condyle.workshop.bench import Workshop


def check_piece_bones(document: FigureDocument, skeleton: Skeleton) -> None:
    """FigureFileError for a piece on a bone that the skeleton does not have, or named as a bone or another part is."""
    bones = [b.name for b in skeleton.bones]
    taken = {*bones, *(f"{j.name}_link" for j in skeleton.joints)}
    for name, table in document.content.pieces.items():
        if table.bone not in bones:
            near = difflib.get_close_matches(table.bone, bones, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else "its bones are: " + ", ".join(bones)
            place = document.place("pieces", name, "bone")
            raise FigureFileError("figure.piece", f"there is no bone {table.bone}", hint=hint, place=place)
        if name in taken:
            hint = "give the piece a name of its own"
            place = document.place("pieces", name)
            raise FigureFileError("figure.piece", f"{name} is the name of another part", hint=hint, place=place)


def piece_bytes(document: FigureDocument) -> tuple[bytes, ...]:
    """All that pieces add to the key of the steps after them."""
    tables = document.content.pieces
    data = [d for t in tables.values() if t.file for d in load_sculpt([document.beside(t.file)]).data]
    told = {name: tuple(sorted((k, str(v)) for k, v in t.model_dump().items())) for name, t in tables.items()}
    return (to_bytes(told), *data)


def take_in_all(
    document: FigureDocument, sculpt: SculptFiles, wanted: IntakeWanted
) -> tuple[Intake, tuple[Piece, ...]]:
    """The body with its fused pieces, and every other piece, in figure coordinates.

    Height, up and facing are those of the whole figure with all its pieces on.
    """
    tables = document.content.pieces
    body = list(sculpt.scene.meshes)
    apart: dict[str, list[NamedMesh]] = {}
    for name, table in tables.items():
        meshes = _meshes(document, name, table, body)
        if table.object is not None:
            body = [m for m in body if m.name != table.object]
        if table.how == "fused":
            body += meshes
        else:
            apart[name] = meshes
    if not body:
        raise InputError("figure.body", "every mesh of the sculpt is a piece: nothing is left to carry them")
    if not apart:
        return take_in(replace(sculpt.scene, meshes=tuple(body)), wanted), ()
    everything = [*body, *(m for meshes in apart.values() for m in meshes)]
    whole = take_in(replace(sculpt.scene, meshes=tuple(everything)), wanted)
    there = whole.report.transform
    in_place = IntakeWanted(
        height_mm=wanted.height_mm,
        up="z",
        facing="x",
        unit="millimeter",
        min_feature_mm=wanted.min_feature_mm,
        true_size=True,
    )

    def placed(meshes: list[NamedMesh]) -> Intake:
        moved = tuple(NamedMesh(m.name, m.mesh.transformed(there)) for m in meshes)
        return take_in(Scene(moved, sculpt.scene.format), in_place)

    intake = placed(body)
    report = replace(
        intake.report,
        triangles_in=whole.report.triangles_in,
        changes=(*whole.report.changes, *(f"body: {c}" for c in intake.report.changes)),
        up=whole.report.up,
        facing=whole.report.facing,
        unit=whole.report.unit,
        scale=whole.report.scale,
        transform=there,
    )
    # Crossings and hollows between body and pieces are meant; what is wrong with the body alone is told.
    findings = (*(f for f in whole.findings if f.check.startswith("intake.f")), *intake.findings)
    pieces = tuple(
        Piece(
            name,
            tables[name].bone,
            placed(meshes).solid,
            tables[name].how,
            tables[name].clearance_mm,
            tables[name].yields,
            _vector(tables[name].way),
            tables[name].peg_mm,
            tables[name].on or "swivel",
            10.0 if (tilt := tables[name].tilt_deg) is None else tilt,
        )
        for name, meshes in apart.items()
    )
    return Intake(intake.solid, report, tuple(dict.fromkeys(findings)), whole.joints), pieces


def seat_all(kit: Kit, pieces: tuple[Piece, ...], workshop: Workshop) -> Kit:
    """The kit with its pieces."""
    return with_pieces(kit, pieces, workshop.fits, stock_of(workshop), workshop.kerf_mm) if pieces else kit


def _meshes(document: FigureDocument, name: str, table: PieceTable, body: list[NamedMesh]) -> list[NamedMesh]:
    if table.file is not None:
        return list(load_sculpt([document.beside(table.file)]).scene.meshes)
    found = [m for m in body if m.name == table.object]
    if not found:
        known = sorted({m.name for m in body if m.name})
        hint = "its objects are: " + ", ".join(known) if known else "its objects have no names; give the piece a file"
        place = document.place("pieces", name, "object")
        raise FigureFileError("figure.piece", f"the sculpt has no object {table.object!r}", hint=hint, place=place)
    return found


def _vector(values: list[float] | None) -> tuple[float, float, float] | None:
    return None if values is None else (values[0], values[1], values[2])
