"""The step that binds the book: everything that was worked out, put into words and pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from condyle.book.bind import bind
from condyle.book.chapters.assembly import assembly_words, step_entries
from condyle.book.chapters.colours import colour_map, colour_tables, swatches
from condyle.book.chapters.cost import cost_table, spare_table, stock_table
from condyle.book.chapters.finishing import coat_table, detail_table, mix_table, sanding_table
from condyle.book.chapters.fits import fit_table
from condyle.book.chapters.joints import joint_entries
from condyle.book.chapters.masks import WORDS as MASK_WORDS
from condyle.book.chapters.masks import mask_picture, mask_tables
from condyle.book.chapters.parts import part_entries, part_words
from condyle.book.chapters.plates import lettered, plate_entry, took
from condyle.book.chapters.poses import pose_table
from condyle.book.chapters.record import record_table
from condyle.book.chapters.safety import cautions_at, safety_entries
from condyle.book.chapters.schedule import schedule_table
from condyle.book.chapters.verdicts import amount, at_a_glance, to_look_at
from condyle.book.drawings import cover, drawn_apart
from condyle.book.matter import Matter, PlateEntry
from condyle.book.typeset import Paper
from condyle.figure.kit import Kit
from condyle.finding import Finding
from condyle.finish.labels import Label
from condyle.geometry.mesh import Mesh
from condyle.project.builds_step import Builds
from condyle.project.finish_step import FinishPlan
from condyle.project.loose_step import Loose
from condyle.proof.print import PrintProof
from condyle.workshop.bench import Workshop


def book_matter(
    document: Mapping[str, Any],
    kit: Kit,
    meshes: Mapping[str, Mesh],
    findings: Sequence[Finding],
    workshop: Workshop,
    plan: FinishPlan,
    printed: PrintProof | None,
    builds: Builds | None,
    labels: Sequence[Label] = (),
    motion: Mapping[str, Any] | None = None,
    loose: Loose | None = None,
) -> Matter:
    """The whole book of a kit. ``document`` is its proof.json, ``meshes`` the parts as written, and what else lies on
    the plates, ``labels`` what the parts carry, ``motion`` its details/motion.json, ``loose`` its spares and tools."""
    laid, meshes = meshes, {p.name: meshes[p.name] for p in kit.parts}
    told = printed.parts if printed else {}
    transforms = {n: p.orientation.transform for n, p in told.items()}
    parts, part_pictures = part_entries(
        document["parts"], meshes, transforms, {n: p.orientation.reasons for n, p in told.items()}, labels,
        {n: p.seam.words for n, p in told.items() if p.seam is not None},
    )  # fmt: skip
    steps, step_pictures = step_entries(kit, plan.answers.order, meshes)
    troubles, more = to_look_at(findings)
    finishes = plan.answers.parts
    colours = {n: p.colours for n, p in finishes.items()}
    pictures = {"cover.png": cover(meshes), "apart.png": drawn_apart(kit, meshes), **part_pictures, **step_pictures}
    shown = swatches(plan.colours, colours, plan.mixes)
    if len(shown) > 1:
        drawn = {p.name: p.mesh for p in kit.parts}
        pictures["colours.png"] = colour_map(drawn, {n: p.of_face for n, p in finishes.items()}, plan.colours)
    masks = mask_picture(plan.answers.masks)
    if masks is not None:
        pictures["masks.png"] = masks
    fits = fit_table(document["joints"], workshop, {j.name: j.fit for j in kit.joints if j.fit is not None})
    built = sum(j.built for j in kit.joints)
    return Matter(
        figure=str(document["figure"]),
        subtitle=f"a kit of {len(kit.parts)} parts and {built} joints",
        facts=_facts(document, workshop, builds),
        cover="cover.png",
        apart="apart.png",
        verdicts=at_a_glance(findings),
        troubles=troubles,
        more_troubles=more,
        joints=joint_entries(document["joints"], motion["joints"] if motion else ()),
        parts=parts,
        part_words=part_words(labels),
        plates=_plates(laid, transforms, builds, loose, {p.name: p.number for p in parts}),
        finishing=(
            sanding_table({n: p.sanding for n, p in finishes.items()}),
            coat_table(plan.coats),
            mix_table(plan.mixes),
            *([lost] if (lost := detail_table({n: p.lost for n, p in finishes.items()})) else []),
        ),
        finish_words=FINISH_WORDS,
        schedule=(schedule_table(plan.plan, dated=plan.dated),),
        assembly=steps,
        assembly_words=assembly_words(plan.answers.order),
        poses=(pose_table(document["poses"]),) if document["poses"] else (),
        safety=safety_entries(workshop.printer.process),
        record=(record_table([f"{p.number} {p.name}" for p in parts]),),
        coupons=(fits,) if fits else (),
        swatches=shown if len(shown) > 1 else (),
        colour_map="colours.png" if "colours.png" in pictures else "",
        colours=colour_tables(colours),
        masks=mask_tables(plan.answers.masks),
        mask_words=MASK_WORDS,
        mask_picture="masks.png" if masks is not None else "",
        cost=(
            cost_table(plan.bills),
            stock_table(
                plan.bills[0],
                plan.mixes,
                next((tuple(g for g, _ in p.sanding.grits) for p in finishes.values() if p.sanding.grits), ()),
                sum(plan.answers.masks.counts().values()),
                workshop.printer.process == "resin",
            ),
        ),
        spares=(spare_table(plan.spares),) if plan.spares else (),
        cautions=cautions_at(workshop.printer.process),
        pictures=pictures,
    )


def book_pdf(matter: Matter, paper: Paper = "a4") -> bytes:
    """book.pdf."""
    return bind(matter, paper)


FINISH_WORDS = (
    "Fill, let it dry, and sand the high spots first; then each finer grit only until the scratches of the one before are "
    "gone. Never fill or sand a kerf, a socket, a ball or a pin: they are cut to fit.",
    "Paint keeps only where it finds tooth: scuff what is glossy before the next coat. Mask every bearing, and leave the "
    "cut faces thin: what two coats take from each gap stands at its joint.",
)


def _facts(document: Mapping[str, Any], workshop: Workshop, builds: Builds | None) -> tuple[tuple[str, str], ...]:
    low = [min(p["bounds"][0][k] for p in document["parts"]) for k in range(3)]
    high = [max(p["bounds"][1][k] for p in document["parts"]) for k in range(3)]
    printer = workshop.printer
    width, depth, _ = printer.plate_mm
    facts = [
        ("height", amount(high[2] - low[2], "mm")),
        ("printer", f"{printer.process}, lines of {printer.line_mm.value:g} mm, plate {width:g} × {depth:g} mm"),
        ("material", f"{workshop.material.name}, {sum(p['mass_g'] for p in document['parts']):.0f} g of parts"),
    ]
    if builds and builds.builds:
        hours = sum(b.time.time_s for b in builds.builds) / 3600.0
        count = len(builds.builds)
        facts.append(("printing", f"{count} plate{'s' if count > 1 else ''}, about {hours:.0f} hours"))
    return tuple(facts)


def _plates(
    meshes: Mapping[str, Mesh],
    transforms: Mapping[str, Any],
    builds: Builds | None,
    loose: Loose | None,
    numbers: Mapping[str, str],
) -> tuple[PlateEntry, ...]:
    """The figure's own plates, then those of its spares and tools."""
    own = builds.builds if builds is not None else ()
    beside = loose.builds if loose is not None else ()
    lying = {p.name: meshes[p.name].transformed(transforms[p.name]) for b in own for p in b.plate.parts}
    if loose is not None:
        lying |= loose.lying
    numbers = dict(numbers) | lettered(p.name for b in (*own, *beside) for p in b.plate.parts if p.name not in numbers)
    out = []
    for b in (*own, *beside):
        placed = {p.name: lying[p.name].transformed(p.transform) for p in b.plate.parts}
        rows = took(b.time.time_s, b.time.low_s, b.time.high_s, b.use.material_g, b.use.cost)
        out.append(plate_entry(b.name, b.plate, placed, b.workshop.printer.plate_mm, rows, numbers))
    return tuple(out)
