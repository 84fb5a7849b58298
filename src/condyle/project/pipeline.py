"""From a figure file to proofs and a kit, step by step: read, intake, seat, part, prove, written, files.

Each step's result is kept beside the figure file under a key made of everything that goes into it, so a second run does
again only what has changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from condyle.book.matter import Matter
from condyle.book.page import web_page
from condyle.book.typeset import Paper
from condyle.errors import FigureFileError, UsageError
from condyle.export import kit_files, part_file
from condyle.export.pose_animation import pose_animation
from condyle.figure.intake import Intake, IntakeWanted
from condyle.figure.kit import Kit
from condyle.figure.parting import part
from condyle.figure.pieces import Piece
from condyle.figure.pose import Pose
from condyle.figure.seating import Seating, seat
from condyle.figure.skeleton import SeatedJoint, Skeleton
from condyle.figure.skeleton_file import load_template, read_skeleton
from condyle.figure.wishes import JointWish
from condyle.finding import Finding, each_once
from condyle.finish.labels import Label
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid
from condyle.project.bench_sheet import keep_sheet
from condyle.project.book_step import book_matter, book_pdf
from condyle.project.builds_step import Builds, bench_sheet, pace_of, plan_builds
from condyle.project.cache import Cache, cache_beside, content_hash, key_of
from condyle.project.carry_details import carry_files
from condyle.project.carry_step import carry_kit, section_loads
from condyle.project.codec import to_bytes
from condyle.project.colour_step import drawn_colours
from condyle.project.extras_step import lay_extras
from condyle.project.figure_file import FigureDocument, parse_figure, read_figure
from condyle.project.finish_files import finish_files
from condyle.project.finish_step import FinishPlan, measure_finish, plan_finish, printed_in
from condyle.project.fit_step import several_fits, with_planned_wishes
from condyle.project.grip_step import check_grips, grip_all, grips_of, hold_tools
from condyle.project.hollow_step import hollow_kit
from condyle.project.inputs import inputs_key
from condyle.project.joints import check_inside, check_joint_names, is_complete, known_centres, overlaid, placed, wishes
from condyle.project.label_step import label_kit
from condyle.project.locker_step import cut_spares, wear
from condyle.project.loose_step import Loose, lay_loose
from condyle.project.motion_step import motion_document, motion_files, prove_kit_motion
from condyle.project.part_keys import in_own_order, walls_kept
from condyle.project.part_tables import mixed_wishes, own_parts, with_own
from condyle.project.piece_step import check_piece_bones, piece_bytes, seat_all, take_in_all
from condyle.project.place import check_kit_place, write_file, write_kit
from condyle.project.pose_step import pose_files, solve
from condyle.project.print_step import print_files, print_kit
from condyle.project.proof_json import Hashes, document_bytes, proof_document
from condyle.project.scene_step import keep_scenes
from condyle.project.sculpt import SculptFiles, load_sculpt, naming
from condyle.project.soles_step import accessories, sole_kit, soled_by
from condyle.project.watch import Watch
from condyle.proof import Proof, prove
from condyle.proof.carry_results import with_carried
from condyle.proof.one_limb import of_one_limb
from condyle.proof.planned import with_planned_fits
from condyle.proof.print import PrintProof
from condyle.workshop.bench import Workshop, load_workshop


@dataclass(frozen=True)
class Opened:
    """A figure file with all that it names."""

    document: FigureDocument
    skeleton: Skeleton
    workshop: Workshop
    sculpt: SculptFiles
    cache: Cache


@dataclass(frozen=True)
class TakenIn:
    """The cleaned sculpt, and the key under which it is kept."""

    intake: Intake
    key: str
    pieces: tuple[Piece, ...] = ()


@dataclass(frozen=True)
class Result:
    """All that a run has made: the kit, its proof, every finding in order, and proof.json as values."""

    opened: Opened
    intake: Intake
    kit: Kit
    proof: Proof
    findings: tuple[Finding, ...]
    files: dict[str, bytes]
    document: dict[str, Any]
    prints: PrintProof
    builds: Builds
    loose: Loose
    plan: FinishPlan
    meshes: dict[str, Mesh]
    labels: tuple[Label, ...] = ()
    motion: dict[str, Any] | None = None


def open_figure(path: Path, *, keep: bool = True, text: str | None = None) -> Opened:
    """Read a figure file and what it names. FigureFileError or InputError for whatever cannot be used.

    With ``text``, the figure as an earlier state of its file had it.
    """
    document = read_figure(path) if text is None else parse_figure(path, text)
    skeleton = skeleton_of(document)
    check_joint_names(document, skeleton)
    check_piece_bones(document, skeleton)
    check_grips(document, skeleton)
    workshop = _workshop(document)
    sculpt = load_sculpt([document.beside(source) for source in document.content.figure.sources])
    return Opened(document, overlaid(document, skeleton), workshop, sculpt, cache_beside(path) if keep else Cache(None))


def check_unchanged(opened: Opened) -> None:
    """FigureFileError when the sculpt is not the one whose joints stand in the figure file."""
    told = opened.document.content.figure.hash
    if told is not None and told != opened.sculpt.hash:
        raise FigureFileError(
            "sculpt.changed",
            "the sculpt has changed since its joints were seated",
            hint=f"find the joints again with: condyle seat {opened.document.path}",
            place=opened.document.place("figure", "hash"),
        )


def intake_wanted(document: FigureDocument, workshop: Workshop) -> IntakeWanted:
    """What the figure file and the printer ask of the intake."""
    figure = document.content.figure
    return IntakeWanted(
        height_mm=figure.height_mm,
        up=figure.up,
        facing=figure.facing,
        unit=figure.unit,
        min_feature_mm=workshop.printer.min_feature_mm.value,
        true_size=figure.true_size,
    )


def take_in_sculpt(opened: Opened, watch: Watch) -> TakenIn:
    """The intake step."""
    wanted = intake_wanted(opened.document, opened.workshop)
    key = key_of("intake", to_bytes(wanted), *(p.name.encode() for p in opened.sculpt.paths), *opened.sculpt.data)
    document = opened.document
    pieces: tuple[Piece, ...] = ()
    with watch.step("intake") as stored:
        try:
            if document.content.pieces:
                key = key_of("intake", key.encode(), *piece_bytes(document))
                (intake, pieces), stored.value = opened.cache.fetch(
                    "intake", key, lambda: take_in_all(document, opened.sculpt, wanted)
                )
            else:
                intake, stored.value = opened.cache.fetch("intake", key, lambda: opened.sculpt.take_in(wanted))
        except UsageError as error:
            # The words came from the file, not from the call.
            place = opened.document.place("figure", "facing")
            raise FigureFileError(error.code, error.message, hint=error.hint, place=place) from None
    return TakenIn(intake, key, pieces)


def seat_joints(opened: Opened, taken: TakenIn, watch: Watch) -> tuple[tuple[SeatedJoint, ...], tuple[Finding, ...]]:
    """Every joint's place: from the figure file, and for what it leaves out from the sculpt."""
    with watch.step("seat") as stored, naming(opened.sculpt.paths[0]):
        seating: Seating | None = None
        if not is_complete(opened.document, opened.skeleton):
            known = {**taken.intake.joints, **known_centres(opened.document)}
            key = key_of("seat", taken.key.encode(), to_bytes(opened.skeleton), to_bytes(known))
            seating, stored.value = opened.cache.fetch(
                "seat", key, lambda: seat(taken.intake.solid, opened.skeleton, known=known)
            )
        found = {j.name: j for j in seating.joints} if seating else {}
        joints = placed(opened.document, opened.skeleton, found)
        check_inside(opened.document, joints, taken.intake.solid.mesh)
    return joints, (seating.findings if seating else ())


def cut_figure(
    opened: Opened, taken: TakenIn, joints: tuple[SeatedJoint, ...], asked: dict[str, JointWish], watch: Watch
) -> tuple[Kit, tuple[bytes, ...]]:
    """The parting step, with relief, inserts and pieces; and everything that the kit was made from, for later keys."""
    skeleton, workshop = opened.skeleton, opened.workshop
    inputs: tuple[bytes, ...]
    inputs = (taken.key.encode(), to_bytes(skeleton), to_bytes(joints), to_bytes(workshop), to_bytes(asked))
    grips, worn = grips_of(opened.document), wear(opened.document, taken.intake, joints)
    inputs = (*inputs, to_bytes(grips), worn.key) if grips or worn.key else inputs
    with watch.step("part") as stored:
        kit, stored.value = opened.cache.fetch(
            "part",
            key_of("part", *inputs),
            lambda: in_own_order(
                grip_all(
                    seat_all(
                        part(worn.intake.solid, skeleton, joints, workshop, asked, watch.watcher.details, relief=True),
                        taken.pieces,
                        workshop,
                    ),
                    grips,
                    workshop,
                )
            ),
        )
    return kit, inputs


def prove_figure(path: Path, watch: Watch, *, keep: bool = True) -> Result:
    """Everything up to the proof, without writing a kit."""
    with watch.step("read"):
        opened = open_figure(path, keep=keep)
        check_unchanged(opened)
    taken = take_in_sculpt(opened, watch)
    joints, seat_findings = seat_joints(opened, taken, watch)
    worn = wear(opened.document, taken.intake, joints)
    intake, seat_findings = worn.intake, (*seat_findings, *worn.findings)
    skeleton, workshop = opened.skeleton, opened.workshop
    own = own_parts(opened.document, skeleton)
    asked = mixed_wishes(wishes(opened.document, skeleton), skeleton, workshop, own)
    kit, inputs = cut_figure(opened, taken, joints, asked, watch)
    if several_fits(kit, workshop, asked):
        # How its parts will lie decides which measurement of a fit counts, so they are laid once before they are cut for good.
        laid = print_kit(with_own(kit, own, workshop), intake.solid, workshop, own, inputs, opened.cache, watch)
        asked = with_planned_wishes(kit, laid, workshop, asked)
        kit, inputs = cut_figure(opened, taken, joints, asked, watch)
    kit, inputs = with_own(kit, own, workshop), (*inputs, to_bytes(own))
    soled = sole_kit(opened.document, kit, workshop, inputs, opened.cache, watch)
    kit, inputs = soled.kit, (*inputs, soled_by(opened.document))
    kit, hollow_findings = hollow_kit(
        own, opened.document.content.workshop.hollow_mm, kit, intake.solid, workshop, inputs, opened.cache, watch
    )
    labels = opened.document.content.finish.labels
    kit, marks, label_findings = label_kit(labels, kit, intake.solid, workshop, inputs, opened.cache, watch)
    soled, inputs = replace(soled, kit=kit), (*inputs, b"labels" if labels else b"")
    with watch.step("prove") as stored:
        proof, stored.value = opened.cache.fetch(
            "prove",
            key_of("prove", *inputs),
            lambda: prove(kit, intake.solid, skeleton, workshop, keep_walls=walls_kept(kit, opened.cache)),
        )
    sections, necks = section_loads(opened.document, kit, workshop, inputs, opened.cache, watch)
    moved = prove_kit_motion(kit, intake.solid, workshop, proof, inputs, opened.cache, watch)
    motion = motion_document(kit, proof, moved)
    printed = print_kit(kit, intake.solid, workshop, own, inputs, opened.cache, watch, necks, asked)
    kit, fit_findings = with_planned_fits(kit, printed, workshop, asked)
    soled, inputs = replace(soled, kit=kit), (*inputs, to_bytes({j.name: j.fit for j in kit.joints}))
    solved = solve(opened.document, kit, skeleton.name, workshop.kerf_mm, inputs, opened.cache, watch)
    poses = (Pose("as sculpted"), *(p.reached for p in solved))
    ups = {name: p.orientation.chosen.direction for name, p in printed.parts.items()}

    def again(solid: Solid, others: Mapping[str, JointWish]) -> Kit:
        return with_own(
            seat_all(part(solid, skeleton, joints, workshop, others), taken.pieces, workshop), own, workshop
        )

    carried = carry_kit(
        opened.document, soled, intake.solid, workshop, proof, poses, inputs, opened.cache, watch, ups, sections,
        (again, asked, joints),
    )  # fmt: skip
    carried = of_one_limb(carried, opened.document.content.stand.held)
    proof = with_carried(proof, carried)
    spares, hung, spare_findings = cut_spares(opened.document, kit, intake.solid, skeleton, workshop)
    tools, tool_findings = hold_tools(opened.document, kit, workshop)
    with watch.step("written"):
        written = kit_files(
            kit, [pose_animation(kit, p.name, p.way.keys) for p in solved], accessories(soled) | spares | tools
        )
    content = opened.document.content
    drawn = drawn_colours(opened.document, opened.sculpt, kit, intake.report.transform)
    answers = measure_finish(
        content.finish, kit, intake.solid, proof, workshop, printed, drawn, inputs, opened.cache, watch
    )
    shop, in_colour = content.workshop, [c.name for c in content.colours if c.printed]
    paced = partial(pace_of, record=opened.document.beside(shop.record))
    masses = {name: p.mass_g for name, p in proof.parts.items()}
    extras = lay_extras(opened.document, soled, kit, written, masses, printed, workshop, inputs, opened.cache, watch)
    laid = extras.among(printed)
    builds = plan_builds(
        {**written.meshes, **extras.meshes}, {**masses, **extras.masses_g}, laid,
        {p.name: p.workshop or workshop for p in kit.parts} | dict(extras.workshops),
        paced, shop.price_per_kg, printed_in(answers, in_colour),
    )  # fmt: skip
    loose = lay_loose(spares | tools, hung, written.beside, workshop, opened.cache, watch, paced, shop.price_per_kg)
    plan = plan_finish(content.finish, kit, answers, builds, drawn, in_colour)
    findings = each_once(
        (
            *intake.findings, *seat_findings, *spare_findings, *tool_findings, *kit.findings, *(f for j in kit.joints for f in j.findings),
            *soled.findings, *hollow_findings, *label_findings, *fit_findings, *proof.findings, *moved.findings, *(f for p in solved for f in p.findings),
            *printed.findings, *extras.findings, *builds.findings, *loose.findings, *answers.findings,
        )
    )  # fmt: skip
    hashes = Hashes(
        inputs=inputs_key(opened),
        figure=content_hash(opened.document.text.encode()),
        sculpt=opened.sculpt.hash,
        skeleton=content_hash(to_bytes(skeleton)),
        workshop=content_hash(to_bytes(workshop)),
        parts={p.name: content_hash(written.files[part_file(p.name)]) for p in kit.parts},
    )
    name = opened.document.content.figure.name
    document = proof_document(name, intake.report, kit, written.meshes, proof, findings, hashes)
    document["builds"] = [*builds.document(), *loose.document]
    if keep:
        keep_sheet(path, bench_sheet(name, workshop, {**hashes.parts, **extras.hashes()}, laid, builds))
    files = {
        **written.files, **builds.files, **loose.files, **carry_files(carried), **pose_files(solved),
        **motion_files(motion), **print_files(laid), **finish_files(plan, name),
    }  # fmt: skip
    told = (document, laid, builds, loose, plan, {**written.meshes, **extras.meshes}, marks, motion)
    return Result(opened, intake, kit, proof, findings, files, *told)


def make_kit(path: Path, out: Path, watch: Watch, *, keep: bool = True) -> Result:
    """Prove, and write the kit to ``out``, whole; nothing is written when anything is raised."""
    check_kit_place(out)
    result = prove_figure(path, watch, keep=keep)
    book = _bound(result, result.opened.document.content.book.paper, watch)
    with watch.step("files"):
        write_kit(out, {**result.files, "book.pdf": book, "proof.json": document_bytes(result.document)})
        if keep:
            keep_scenes(path, result.kit, result.intake.solid.mesh)
    return result


def bind_book(path: Path, out: Path, watch: Watch, *, paper: Paper | None = None, html: bool = False) -> int:
    """Prove, and write the book alone to ``out``; how many bytes it has."""
    result = prove_figure(path, watch)
    data = _bound(result, "html" if html else paper or result.opened.document.content.book.paper, watch)
    with watch.step("files"):
        write_file(out, data)
    return len(data)


def _bound(result: Result, form: Paper | Literal["html"], watch: Watch) -> bytes:
    """The book on a paper or as one page, kept under all that goes into the kit."""

    def bind() -> NDArray[np.uint8]:
        matter = matter_of(result)
        return np.frombuffer(web_page(matter) if form == "html" else book_pdf(matter, form), dtype=np.uint8)

    key = key_of("book", result.document["hashes"]["inputs"].encode(), form.encode())
    with watch.step("book") as stored:
        data, stored.value = result.opened.cache.fetch("book", key, bind)
    return data.tobytes()


def matter_of(result: Result) -> Matter:
    """What the book of a kit says."""
    return book_matter(
        result.document, result.kit, result.meshes, result.findings, result.opened.workshop, result.plan, result.prints,
        result.builds, result.labels, result.motion, result.loose,
    )  # fmt: skip


def skeleton_of(document: FigureDocument) -> Skeleton:
    """The skeleton that a figure file names, as its file states it."""
    table = document.content.skeleton
    if table.path is not None:
        return read_skeleton(document.beside(table.path))
    try:
        return load_template(table.template or "")
    except FigureFileError as error:
        if error.place.file is None:
            error.place = document.place("skeleton", "template")
        raise


def _workshop(document: FigureDocument) -> Workshop:
    table = document.content.workshop

    def card(name: str) -> str:
        return str(document.beside(name)) if name.endswith(".toml") else name

    try:
        return load_workshop(
            card(table.printer), card(table.material), document.beside(table.fits) if table.fits else None
        )
    except UsageError as error:
        key = "material" if error.code == "workshop.materials" else "printer"
        place = document.place("workshop", key)
        raise FigureFileError(error.code, error.message, hint=error.hint, place=place) from None
