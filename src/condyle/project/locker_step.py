"""Pieces of the locker that a figure file names: put on before parting, their sets cut and proved after it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from condyle.errors import FigureFileError
from condyle.figure.intake import Intake
from condyle.figure.kit import BuiltJoint, Kit
from condyle.figure.pieces.locker import put_on, spare
from condyle.figure.skeleton import JointSpec, SeatedJoint, Skeleton
from condyle.figure.stock_file import StockPiece, read_stock
from condyle.finding import Finding, worst
from condyle.geometry.bvh import Bvh
from condyle.geometry.solid import Solid
from condyle.project.codec import to_bytes
from condyle.project.figure_file import FigureDocument
from condyle.project.figure_model import JointTable
from condyle.proof.bodies import make_bodies, make_meetings
from condyle.proof.fit import fits
from condyle.workshop.bench import Workshop


@dataclass(frozen=True, eq=False)
class Worn:
    """The intake with its pieces of the locker on, what that says, and what it adds to the keys of later steps."""

    intake: Intake
    findings: tuple[Finding, ...]
    key: bytes


def stocked(document: FigureDocument, spec: JointSpec, table: JointTable) -> JointSpec:
    """A joint with the kind and size that its piece of the locker brings. FigureFileError beside keys that say so too."""
    if table.stock is None:
        if table.spares:
            place = document.place("joints", spec.name, "spares")
            hint = 'name the first one: stock = "FILE"'
            raise FigureFileError("figure.stock", "spares are others of the same set as stock", hint=hint, place=place)
        return spec
    for key in ("kind", "size", "custom", "convex"):
        if getattr(table, key) is not None:
            told = f"{key} cannot be set beside stock: the piece brings its joint with it"
            hint = f"take {key} out, or change it in {table.stock}"
            raise FigureFileError("figure.stock", told, hint=hint, place=document.place("joints", spec.name, key))
    piece = read_stock(document.beside(table.stock), spec.side)
    for name in table.spares:
        other = read_stock(document.beside(name), spec.side)
        if (other.kind, other.size, other.convex) != (piece.kind, piece.size, piece.convex) or _own(other) != _own(
            piece
        ):
            raise FigureFileError(
                "figure.stock",
                f"{other.name} hangs on {_joint(other)}, {piece.name} on {_joint(piece)}: they do not change places",
                hint="take pieces with the same joint",
                place=document.place("joints", spec.name, "spares"),
            )
    return replace(spec, kind=piece.kind, size=piece.size, convex=piece.convex, custom=piece.custom)


def wear(document: FigureDocument, intake: Intake, joints: Sequence[SeatedJoint]) -> Worn:
    """The sculpt with every piece of the locker that the file names."""
    solid, keys = intake.solid, b""
    findings: list[Finding] = []
    for joint in joints:
        table = document.content.joints.get(joint.name)
        if table is None or table.stock is None:
            continue
        piece = read_stock(document.beside(table.stock), joint.spec.side)
        fitted = put_on(solid, joint, piece)
        solid = fitted.sculpt
        findings += fitted.findings
        keys += piece_key(piece)
    if not keys:
        return Worn(intake, (), b"")
    return Worn(replace(intake, solid=solid), tuple(findings), keys)


def locker_bytes(document: FigureDocument, skeleton: Skeleton) -> bytes:
    """All that pieces of the locker add to the key of a kit."""
    keys = b""
    for name, table in document.content.joints.items():
        side = next((j.side for j in skeleton.joints if j.name == name), "middle")
        for file in (*((table.stock,) if table.stock else ()), *table.spares):
            keys += piece_key(read_stock(document.beside(file), side))
    return keys


def piece_key(piece: StockPiece) -> bytes:
    """Name, joint and flesh of a piece, for keys."""
    mesh = piece.flesh.mesh
    told = to_bytes((piece.name, piece.kind, piece.size, piece.convex))
    return told + mesh.vertices.tobytes() + mesh.faces.tobytes()


def cut_spares(
    document: FigureDocument, kit: Kit, sculpt: Solid, skeleton: Skeleton, workshop: Workshop
) -> tuple[dict[str, Solid], dict[str, BuiltJoint], tuple[Finding, ...]]:
    """The other pieces of each set, by the name of their file, and the joint of each, proved against the part that it goes on."""
    out: dict[str, Solid] = {}
    hung: dict[str, BuiltJoint] = {}
    findings: list[Finding] = []
    for joint in kit.joints:
        table = document.content.joints.get(joint.name)
        if table is None or not joint.built:
            continue
        for file in table.spares:
            piece = read_stock(document.beside(file), joint.seated.spec.side)
            solid, pair, told = spare(kit, sculpt, skeleton, joint, piece, workshop)
            findings += told
            if solid is None or pair is None:
                continue
            name = f"{joint.name}_{plain_name(piece.name)}"
            out[name], hung[name] = solid, hung_on(pair.joints[0], name)
            findings.append(_goes_on(pair, piece, sculpt, workshop))
    return out, hung, tuple(findings)


def _goes_on(pair: Kit, piece: StockPiece, sculpt: Solid, workshop: Workshop) -> Finding:
    """Whether the spare fits the part that was made for another: the fit's own questions, told as one."""
    bodies = make_bodies(pair)
    _, found = fits(pair, make_meetings(pair, bodies), Bvh(sculpt.mesh), workshop.kerf_mm, workers=1)
    verdict = worst(found)
    wrong = next((f for f in found if f.verdict == verdict and verdict != "pass"), None)
    joint = pair.joints[0]
    x, y, z = (float(v) for v in joint.seated.frame.origin)
    return Finding(
        "locker.spare", f"{joint.name}/{piece.name}", verdict, measured=joint.size_mm, unit="mm", place=(x, y, z),
        advice="" if wrong is None else f"{wrong.check}: {wrong.advice}",
    )  # fmt: skip


def hung_on(joint: BuiltJoint, name: str) -> BuiltJoint:
    """A pair's joint with its moving part called by the name of a spare."""
    *inner, last = joint.axles
    return replace(joint, axles=(*inner, replace(last, moves=name)))


def _own(piece: StockPiece) -> tuple[str, float] | None:
    return None if piece.custom is None else (piece.custom.name, piece.custom.size_mm)


def _joint(piece: StockPiece) -> str:
    return piece.custom.name if piece.custom else f"a {piece.kind} of {piece.size:g} mm"


def plain_name(name: str) -> str:
    """A piece's name as part of a file's name."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") or "spare"
