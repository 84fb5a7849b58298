"""Grips of a figure file: each hand bored and proved after the figure has been parted."""

from __future__ import annotations

import difflib
from dataclasses import replace

from condyle.errors import FigureFileError
from condyle.figure.kit import Kit
from condyle.figure.pieces.grip import CutGrip, Grip, with_grip
from condyle.figure.skeleton import Skeleton
from condyle.figure.tool_file import Tool, read_tool
from condyle.finding import Finding, point_of
from condyle.geometry.solid import Solid
from condyle.joints.stock import stock_of
from condyle.project.figure_file import FigureDocument
from condyle.project.grip_model import GripTable
from condyle.project.locker_step import plain_name
from condyle.proof.grip import grips
from condyle.proof.held_tool import held
from condyle.workshop.bench import Workshop


def grips_of(document: FigureDocument) -> tuple[Grip, ...]:
    """What the file asks of hands, in its order. FigureFileError for a tool that cannot be used."""
    return tuple(_grip(document, name, table) for name, table in document.content.grips.items())


def _grip(document: FigureDocument, name: str, t: GripTable) -> Grip:
    handle = t.handle_mm if t.tool is None else _tool(document, name, t.tool).handle_mm
    assert handle is not None
    opening = None if t.opening is None else point_of(t.opening)
    return Grip(name, handle, point_of(t.point), point_of(t.axis), opening, t.clearance_mm, t.mouth_mm, t.slit_mm)


def _tool(document: FigureDocument, name: str, file: str) -> Tool:
    side = next((s for s in ("left", "right") if name.endswith(f"_{s}")), "middle")
    return read_tool(document.beside(file), side)


def tool_bytes(document: FigureDocument) -> bytes:
    """All that tools add to the key of a kit."""
    out = b""
    for name, table in document.content.grips.items():
        if table.tool is not None:
            mesh = _tool(document, name, table.tool).solid.mesh
            out += mesh.vertices.tobytes() + mesh.faces.tobytes()
    return out


def hold_tools(document: FigureDocument, kit: Kit, workshop: Workshop) -> tuple[dict[str, Solid], tuple[Finding, ...]]:
    """The tools that hands hold, by the name of their file, in figure coordinates, each proved in its finished hand."""
    out: dict[str, Solid] = {}
    findings: list[Finding] = []
    for name, table in document.content.grips.items():
        part = next((p for p in kit.parts if p.name == name), None)
        if table.tool is None or part is None:
            continue
        tool, asked = _tool(document, name, table.tool), _grip(document, name, table)
        told = {f.check: f.measured for f in kit.findings if f.subject == name and f.check.startswith("grip.")}
        clearance = (part.workshop or workshop).fits.get("peg", asked.handle_mm).clearance_mm
        clearance = clearance if asked.clearance_mm is None else asked.clearance_mm
        lip = told.get("grip.lip") or 0.0
        mouth = asked.handle_mm - 2.0 * lip if asked.opening else 0.0
        cut = CutGrip(asked, clearance, mouth, lip, None, None)
        placed = tool.solid.transformed(cut.frame.matrix)
        out[f"{name}_{plain_name(tool.name)}"] = placed
        findings += held(part, cut, tool.name, placed)
    return out, tuple(findings)


def check_grips(document: FigureDocument, skeleton: Skeleton) -> None:
    """FigureFileError for a grip in a part that the figure cannot have."""
    known = [*(b.name for b in skeleton.bones), *document.content.pieces]
    for name in document.content.grips:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else "a grip is named by its hand: " + ", ".join(known)
            place = document.place("grips", name)
            raise FigureFileError("figure.grip", f"there is no part {name}", hint=hint, place=place)


def grip_all(kit: Kit, asked: tuple[Grip, ...], workshop: Workshop) -> Kit:
    """The kit with every grip cut and, on the solid that is left, proved."""
    for grip in asked:
        part = next((p for p in kit.parts if p.name == grip.part), None)
        shop = (part.workshop if part else None) or workshop
        stock = stock_of(shop)
        kit, cut = with_grip(kit, grip, shop.fits, stock)
        if cut is not None:
            kit = replace(kit, findings=(*kit.findings, *grips(kit.part(grip.part), cut, stock.wall_mm)))
    return kit
