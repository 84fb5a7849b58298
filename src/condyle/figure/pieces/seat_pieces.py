"""Seating pieces on the parts of a kit: a seat with clearance, a stud where there is room, and the joint that records it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from condyle.figure.kit import Axle, Balance, BuiltJoint, Kit, Part
from condyle.figure.pieces.offset import grown, swung
from condyle.figure.pieces.piece import Piece
from condyle.figure.pieces.stud_place import Choice, balls, pegs, straps, stud_place, swivels
from condyle.figure.pieces.way_in import SeatCut, cut_seat
from condyle.figure.skeleton import JointSpec, Kind, Motion, Range, SeatedJoint
from condyle.finding import Finding, Point, point_of
from condyle.geometry.frame import Frame, frame_from_zx
from condyle.geometry.mesh import FloatArray
from condyle.geometry.solid import Solid, overlap, remainder, subtract, union
from condyle.joints.design import JointDesign
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_PEG_GAP_MM = 4.0
_SEAT_MM = 0.13  # the peg finds the place; its seat stays clear of what the surface does, and of a coat of paint


@dataclass(frozen=True, eq=False)
class _Seated:
    """A piece in its seat: both bodies as they will be printed, and the record."""

    piece: Solid
    carrier: Solid
    joint: BuiltJoint
    findings: tuple[Finding, ...]


def with_pieces(kit: Kit, pieces: Sequence[Piece], fits: Fits, stock: Stock, kerf_mm: float) -> Kit:
    """The kit with every pegged and carried piece as a part of its own. Fused pieces belong to the sculpt before parting.

    Each piece gets a joint ``NAME_seat`` in the kit's list: a peg, or for a carried piece a swivel, a small ball or a strap
    (of the kind peg too, since it holds no angle; its lip tells it from one that is glued). A piece that overlaps
    other parts than its carrier takes from them as well, a kerf wide. Nothing is seated through hardware: that is a
    finding, and the piece is left as it came.
    """
    for piece in pieces:
        if piece.how != "fused":
            kit = _with_piece(kit, piece, fits, stock, kerf_mm)
    return kit


def _with_piece(kit: Kit, piece: Piece, fits: Fits, stock: Stock, kerf_mm: float) -> Kit:
    carrier = next((p for p in kit.parts if p.bone == piece.bone and not p.name.endswith("_link")), None)
    if carrier is None:
        finding = Finding("piece.bone", piece.name, "fail", advice=f"no part of the kit is the bone {piece.bone}")
        return replace(kit, findings=(*kit.findings, finding))
    usual = max(fits.get("peg", _PEG_GAP_MM).clearance_mm, _SEAT_MM)
    gap = max(usual if piece.clearance_mm is None else piece.clearance_mm, 0.05)
    cut = cut_seat(piece, carrier.solid, gap)
    if cut is None:
        middle = point_of(piece.solid.bounds.mean(axis=0))
        finding = Finding(
            "piece.seat", piece.name, "fail", place=middle,
            advice=f"the piece comes nowhere near {carrier.name}: move it into its carrier by some tenths of a millimetre, "
            "or give it another bone",
        )  # fmt: skip
        return replace(kit, findings=(*kit.findings, finding))
    made = _seated(piece, carrier, cut, gap, fits, stock)
    parts, findings = _cleared(kit, piece, carrier.name, made.piece, kerf_mm)
    parts = [Part(p.name, p.bone, made.carrier) if p.name == carrier.name else p for p in parts]
    balance = _balance(kit.balance, carrier.solid, piece.solid, made)
    new = Part(piece.name, piece.bone, made.piece)
    return replace(
        kit,
        parts=(*parts, new),
        joints=(*kit.joints, made.joint),
        balance=balance,
        findings=(*kit.findings, *made.findings, *findings, *_hurt(kit, piece)),
    )


def _seated(piece: Piece, carrier: Part, cut: SeatCut, gap: float, fits: Fits, stock: Stock) -> _Seated:
    way = np.asarray(cut.way)
    found = None
    if piece.peg_mm != 0.0:
        found = stud_place(cut.piece, cut.carrier, way, gap, _choices(piece, gap, fits, stock))
    name = f"{piece.name}_seat"
    middle = cut.piece.bounds.mean(axis=0) if found is None else found[1].origin
    at = point_of(middle)
    findings = [*_told(piece, cut, at)]
    if found is None:
        findings.append(_no_stud(piece, at))
        # Without a stud a carried piece does not turn: it is glued like a pegged one.
        seated = _seat_at(name, "peg", piece, middle, way, {})
        joint = BuiltJoint(
            seated, True, clearance_mm=gap, kerf_mm=gap, axles=(Axle(piece.name, carrier.name, at),),
            insertion=(point_of(-way),), travel_mm=float(np.ptp(cut.piece.mesh.vertices @ way)),
        )  # fmt: skip
        return _Seated(cut.piece, cut.carrier, joint, tuple(findings))
    design, frame = found
    findings.append(Finding(f"piece.{_what(piece)}", piece.name, "pass", measured=design.size_mm, unit="mm", place=at))
    stud, hole, bearing = _placed(design, frame)
    wanted: dict[Motion, Range] = {}
    if _what(piece) == "ball":
        middle = bearing.bounds.mean(axis=0)
        wanted = {"flex": (-piece.tilt_deg, piece.tilt_deg), "abduct": (-piece.tilt_deg, piece.tilt_deg)}
        cut, told = _room_to_tilt(piece, cut, middle, gap)
        findings.append(told)
    joint = BuiltJoint(
        _seat_at(name, _kind(piece), piece, middle, way, wanted),
        True,
        size_mm=design.size_mm,
        clearance_mm=design.clearance_mm,
        kerf_mm=gap,
        bearing_mm2=design.bearing_mm2,
        undercut_mm=design.undercut_mm,
        stiffness_n_mm=design.stiffness_n_mm,
        snap_strain=design.snap_strain,
        insertion_n=design.insertion_n,
        retention_n=design.retention_n,
        hold_nmm=design.hold_nmm,
        axles=(Axle(piece.name, carrier.name, point_of(middle)),),
        insertion=(point_of(-way),),
        travel_mm=design.travel_mm,
        bearing=(bearing,),
    )
    return _Seated(
        union([cut.piece, stud], f"{piece.name} with its stud"),
        subtract(cut.carrier, [hole], f"{carrier.name} with a hole"),
        joint,
        tuple(findings),
    )


def _what(piece: Piece) -> str:
    return "peg" if piece.how == "pegged" else piece.on


def _kind(piece: Piece) -> Kind:
    if piece.how == "pegged" or piece.on == "strap":
        return "peg"
    return "ball" if piece.on == "ball" else "swivel"


def _choices(piece: Piece, gap: float, fits: Fits, stock: Stock) -> Iterator[Choice]:
    size = piece.peg_mm
    if _what(piece) == "ball":
        return balls(gap, size, None, piece.tilt_deg, fits, stock)
    if _what(piece) == "strap":
        return straps(gap, size, stock)
    return (pegs if piece.how == "pegged" else swivels)(gap, size, None, fits, stock)


def _seat_at(
    name: str, kind: Kind, piece: Piece, middle: FloatArray, way: FloatArray, wanted: dict[Motion, Range]
) -> SeatedJoint:
    """The joint in the design's frame: z towards the piece, which is its child."""
    spec = JointSpec(name, kind, piece.bone, piece.name, (0.0, 0.0, 0.0), wanted=wanted)
    return SeatedJoint(spec, frame_from_zx(middle, way, _across(way)), point_of(way), source="hand")


def _room_to_tilt(piece: Piece, cut: SeatCut, middle: FloatArray, gap: float) -> tuple[SeatCut, Finding]:
    """The seat widened on the side that gives way, so that the piece tilts by what is asked."""
    carrier_yields = cut.yields == "carrier"
    body, other = (cut.carrier, cut.piece) if carrier_yields else (cut.piece, cut.carrier)
    far = float(np.linalg.norm(cut.piece.mesh.vertices - middle, axis=1).max()) * np.radians(piece.tilt_deg) + 1.0
    box = np.stack([cut.piece.bounds[0] - far, cut.piece.bounds[1] + far])
    left = remainder(body, [swung(other, gap, box, middle, np.asarray(cut.way), piece.tilt_deg)])
    whole = None if left is None else left.components()[0]
    at = point_of(middle)
    if whole is None or whole.volume_mm3 < 0.6 * body.volume_mm3:
        advice = f"a tilt of {piece.tilt_deg:g}° would take most of the {cut.yields}: ask for less with tilt_deg"
        return cut, Finding(
            "piece.tilt", piece.name, "caution", target=piece.tilt_deg, unit="°", place=at, advice=advice
        )
    taken = body.volume_mm3 - whole.volume_mm3
    wider = replace(cut, carrier=whole) if carrier_yields else replace(cut, piece=whole)
    return wider, Finding("piece.tilt", piece.name, "pass", measured=taken, unit="mm³", place=at)


def _placed(design: JointDesign, frame: Frame) -> tuple[Solid, Solid, Solid]:
    """Stud, hole and bearing in figure coordinates."""
    assert design.cup.add is not None and design.knuckle.take is not None
    m = frame.matrix
    return design.cup.add.transformed(m), design.knuckle.take.transformed(m), design.bearing.transformed(m)


def _told(piece: Piece, cut: SeatCut, at: Point) -> list[Finding]:
    """What the seat took, and whether the piece goes in."""
    taken = Finding("piece.seat", piece.name, "pass", measured=cut.taken_mm3, unit="mm³", place=at)
    x, y, z = cut.way
    if cut.free:
        out = [taken, Finding("piece.way_in", piece.name, "pass", place=at)]
        if cut.opened_mm3 > 0.5:
            out.append(
                Finding(
                    "piece.opened",
                    piece.name,
                    "caution",
                    measured=cut.opened_mm3,
                    target=0.5,
                    unit="mm³",
                    place=at,
                    advice=f"to let it come off along ({x:.2f}, {y:.2f}, {z:.2f}) the {cut.yields} lost this much beside "
                    "the seat, where the form ran under itself",
                ),
            )
        return out
    return [
        taken,
        Finding(
            "piece.way_in", piece.name, "fail", place=at,
            advice="no straight way lets it come off: it holds on behind its carrier; cut it into halves, open the ring, or "
            'fuse it (how = "fused")',
        ),
    ]  # fmt: skip


def _no_stud(piece: Piece, at: Point) -> Finding:
    kind = _what(piece)
    if piece.peg_mm == 0.0:
        return Finding(f"piece.{kind}", piece.name, "pass", place=at)
    return Finding(
        f"piece.{kind}", piece.name, "caution", place=at,
        advice=f"no {kind} has room in the seat: glue it in, or thicken the piece where it rests on its carrier",
    )  # fmt: skip


def _cleared(kit: Kit, piece: Piece, carrier: str, made: Solid, kerf_mm: float) -> tuple[list[Part], list[Finding]]:
    """The other parts without what the piece would touch, a kerf wide."""
    low, high = made.bounds[0] - kerf_mm - 1.0, made.bounds[1] + kerf_mm + 1.0
    near = [
        p
        for p in kit.parts
        if p.name != carrier and (p.solid.bounds[1] >= low).all() and (p.solid.bounds[0] <= high).all()
    ]
    if not near:
        return list(kit.parts), []
    tool = grown(made, kerf_mm, np.stack([low, high]))
    out, findings = [], []
    for part in kit.parts:
        shared = overlap(part.solid, tool) if part in near else None
        left = remainder(part.solid, [tool]) if shared is not None else None
        if shared is None or left is None:
            out.append(part)
            continue
        out.append(Part(part.name, part.bone, left.components()[0]))
        findings.append(
            Finding(
                "piece.room",
                f"{piece.name}/{part.name}",
                "caution" if shared.volume_mm3 > 1.0 else "pass",
                measured=shared.volume_mm3,
                target=1.0,
                unit="mm³",
                place=point_of(shared.bounds.mean(axis=0)),
                advice=f"the piece ran into {part.name}, which lost this much so that it stays free",
            )
        )
    return out, findings


def _hurt(kit: Kit, piece: Piece) -> list[Finding]:
    """A fail for each joint whose bearing the piece reaches into."""
    out = []
    for joint in kit.joints:
        for bearing in joint.bearing if joint.built else ():
            shared = overlap(bearing, piece.solid)
            if shared is not None and shared.volume_mm3 > 0.05:
                out.append(
                    Finding(
                        "piece.hardware",
                        f"{piece.name}/{joint.name}",
                        "fail",
                        measured=shared.volume_mm3,
                        target=0.05,
                        unit="mm³",
                        place=point_of(shared.bounds.mean(axis=0)),
                        advice=f"the piece reaches into the hardware of {joint.name}: move the joint or the piece",
                    )
                )
    return out


def _balance(balance: Balance, carrier: Solid, piece: Solid, made: _Seated) -> Balance:
    """The ledger with the piece, each term by a boolean of its own."""
    whole = union([carrier, piece], "carrier and piece")
    both = union([made.carrier, made.piece], "seated")
    void = remainder(whole, [made.carrier, made.piece])
    squeezed = overlap(made.carrier, made.piece)
    beyond = remainder(both, [whole])
    return replace(
        balance,
        sculpt_mm3=balance.sculpt_mm3 + whole.volume_mm3 - carrier.volume_mm3,
        parts_mm3=balance.parts_mm3
        - carrier.volume_mm3
        + made.carrier.volume_mm3
        + made.piece.volume_mm3
        - (squeezed.volume_mm3 if squeezed else 0.0),
        voids_mm3=balance.voids_mm3 + (void.volume_mm3 if void else 0.0),
        outside_mm3=balance.outside_mm3 + (beyond.volume_mm3 if beyond else 0.0),
    )


def _across(way: np.ndarray) -> np.ndarray:
    return np.array([1.0, 0.0, 0.0]) if abs(float(way[0])) < 0.8 else np.array([0.0, 1.0, 0.0])
