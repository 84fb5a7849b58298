"""Cautions, where the work is. Figures are those of the named public sources; local rules go before all of them."""

from __future__ import annotations

from condyle.book.matter import SafetyEntry

_CHILDREN = SafetyEntry(
    "Children",
    (
        "This is a display model, not a toy. Most of its parts, and pieces of a broken one, are small enough to choke on: "
        "keep it from children under three.",
        "Snap parts come off. Joints pinch small fingers.",
    ),
    "Small parts: 16 CFR 1501.2 and 1501.4.",
)
_DUST = SafetyEntry(
    "Sanding and drilling",
    (
        "Sand wet where you can; it binds the dust. Wear a fitting dust mask and glasses, and wipe up instead of blowing.",
        "Clamp a part that you drill or saw; cut away from the hand that holds it, with a sharp blade.",
    ),
    "Most of the exposure comes from the work after printing: PMC8855698 (2022).",
)
_SPRAY = SafetyEntry(
    "Primer, airbrush, clear coat",
    (
        "Spray outside or in a booth that draws air away, with a respirator for vapour and particles, away from flames.",
        "Leave two-pack paints with isocyanates to those who have supplied air.",
        "Solvents and some primers crack a strained socket: paint parts apart, sockets empty.",
    ),
    "From memory: public guidance on spraying and isocyanates; ask your authority for the rules that hold where you are.",
)
_PRINTING = SafetyEntry(
    "Printing",
    (
        "Air the room: printers give off very fine particles, some materials far more than others.",
        "Nozzle, plate and motors stay hot or start by themselves: switch off before you reach in.",
    ),
    "Mean counts of 65,482 (PLA) and 300,980 (ABS) particles per cm³: PMC8350970.",
)
_RESIN = SafetyEntry(
    "Resin",
    (
        "Nitrile gloves and glasses; no skin contact: uncured resin makes skin allergic for life. Cure all waste before it "
        "goes to the bin.",
        "A hollow part that is sealed with liquid inside can burst: drain and wash it, and leave its holes open.",
    ),
    "From memory: public guidance on acrylate resins.",
)
_HEAT = SafetyEntry(
    "Warm water and glue",
    (
        "Warm a socket only in water well below the softening point of its material, never over a flame. Hot water and hot "
        "glue scald; a joint that was warmed grips less afterwards.",
    ),
    "",
)
_MAGNETS = SafetyEntry(
    "Magnets",
    (
        "Swallowed magnets pinch the gut and can kill. Use none in anything that a child may get hold of, and only where "
        "the part itself holds them in.",
    ),
    "16 CFR 1262: loose magnets of 50 kG²·mm² and more.",
)


def cautions_at(process: str) -> dict[str, str]:
    """One caution for each chapter, where its work is done; all of them stand in full under Working safely."""
    wet = "Gloves and glasses with uncured resin; wash and drain hollow parts before they are cured. "
    return {
        "plates": (wet if process == "resin" else "Nozzle and plate stay hot. ")
        + "Air the room; take supports off away from the hand and the eyes.",
        "finishing": "Sand wet, with a dust mask that fits. Spray where air is drawn away, with a respirator for vapour, far "
        "from flames. Read the data sheet of each product.",
        "masks": "Cut tape away from the hand that holds the part.",
        "assembly": "Never force: a part that gives way lets the hand slip. Warm water scalds; no flame. Small parts: keep them "
        "from children under three.",
    }


def safety_entries(process: str, *, magnets: bool = False) -> tuple[SafetyEntry, ...]:
    """The cautions of a figure, by what it is made with: ``process`` is filament or resin."""
    resin = (_RESIN,) if process == "resin" else ()
    return (_PRINTING, *resin, _DUST, _SPRAY, _HEAT, *((_MAGNETS,) if magnets else ()), _CHILDREN)
