"""What can make a print fail, how it shows, and where to look. Shares are a bench's judgement: common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from condyle.workshop.card import Process

GeometryCause = Literal["island", "support", "contact", "slender", "thin", "gap", "suction", "peel", "trapped"]
MachineCause = Literal["plate", "feed", "motion", "material", "flow", "exposure", "film"]
Cause = GeometryCause | MachineCause | Literal["handling"]
Lies = Literal["part", "printer", "hand"]

Symptom = Literal[
    "came loose", "loose strands", "layer shift", "stringing", "under-extrusion", "fused joint", "broken in removal",
    "missing region", "warped", "rough surface", "stuck to the film", "torn off supports", "layers parted",
    "cracked after curing", "other",
]  # fmt: skip
SYMPTOMS: tuple[Symptom, ...] = get_args(Symptom)

FLOOR = 0.01
"""No symptom is impossible under any cause: a floor under every share before they are scaled to 1."""


@dataclass(frozen=True)
class CauseCard:
    """A cause in words.

    lies      where it lies: in the part's geometry, in the printer, or in the hand
    prior     its share among all failures before anything is known; weights, where a process has more causes than this
    shows     how it shows: symptom to share
    inspect   what to look at, or to try, before printing again
    only      the process that it belongs to, None for both
    resin     how it shows in resin, where that differs
    """

    words: str
    lies: Lies
    prior: float
    shows: Mapping[Symptom, float]
    inspect: str
    only: Process | None = None
    resin: Mapping[Symptom, float] = field(default_factory=dict)

    def share(self, symptom: Symptom, process: Process = "filament") -> float:
        """The share of this symptom among failures of this cause."""
        shows = self.resin if process == "resin" and self.resin else self.shows
        total = sum(shows.values()) + FLOOR * len(SYMPTOMS)
        return (shows.get(symptom, 0.0) + FLOOR) / total


CAUSES: dict[Cause, CauseCard] = {
    "island": CauseCard(
        "a region starts in the air",
        "part",
        0.14,
        {"loose strands": 0.45, "missing region": 0.35, "rough surface": 0.1, "stringing": 0.05, "came loose": 0.05},
        "support the place named, or lay the part as the build orientation says",
        resin={"missing region": 0.45, "stuck to the film": 0.4, "rough surface": 0.1, "other": 0.05},
    ),
    "support": CauseCard(
        "a support stands on nothing, on a slope or on a hair of detail",
        "part",
        0.10,
        {"loose strands": 0.4, "missing region": 0.25, "came loose": 0.15, "rough surface": 0.15, "other": 0.05},
        "turn the part so that its supports reach the plate, or split it where proposed",
        resin={
            "torn off supports": 0.45,
            "missing region": 0.2,
            "stuck to the film": 0.2,
            "came loose": 0.1,
            "other": 0.05,
        },
    ),
    "contact": CauseCard(
        "too little of the part stands on the plate",
        "part",
        0.10,
        {"came loose": 0.75, "warped": 0.12, "loose strands": 0.05, "layer shift": 0.05, "other": 0.03},
        "add a brim, or lay the part on a larger face",
        only="filament",
    ),
    "slender": CauseCard(
        "the part grows tall on a small foot",
        "part",
        0.08,
        {"came loose": 0.4, "layer shift": 0.25, "rough surface": 0.2, "broken in removal": 0.1, "other": 0.05},
        "lay it down, print it beside others of its height, or tie it with supports",
        only="filament",
    ),
    "thin": CauseCard(
        "features are below what the printer can draw",
        "part",
        0.10,
        {
            "missing region": 0.45,
            "broken in removal": 0.35,
            "under-extrusion": 0.1,
            "rough surface": 0.05,
            "other": 0.05,
        },
        "thicken the place named, or use a finer printer for this part",
    ),
    "gap": CauseCard(
        "a gap closes as printed",
        "part",
        0.10,
        {"fused joint": 0.85, "broken in removal": 0.1, "other": 0.05},
        "give the joint more clearance: print the clearance ladder of its family",
    ),
    "plate": CauseCard(
        "the first layer does not hold to the plate",
        "printer",
        0.10,
        {"came loose": 0.6, "warped": 0.28, "loose strands": 0.07, "other": 0.05},
        "clean the plate, check its level and the height of the first layer",
        resin={"came loose": 0.65, "stuck to the film": 0.25, "warped": 0.05, "other": 0.05},
    ),
    "feed": CauseCard(
        "material does not come as it should",
        "printer",
        0.08,
        {"under-extrusion": 0.72, "missing region": 0.08, "rough surface": 0.1, "loose strands": 0.05, "other": 0.05},
        "look for a worn drive, a clog, a tangled spool; for resin, a low or unstirred vat",
        resin={
            "missing region": 0.5,
            "layers parted": 0.3,
            "rough surface": 0.1,
            "stuck to the film": 0.05,
            "other": 0.05,
        },
    ),
    "motion": CauseCard(
        "an axis loses its place",
        "printer",
        0.06,
        {"layer shift": 0.87, "rough surface": 0.05, "other": 0.08},
        "check belts, screws and that nothing touches the moving axes, with the printer switched off",
        resin={"layer shift": 0.6, "layers parted": 0.3, "rough surface": 0.05, "other": 0.05},
    ),
    "material": CauseCard(
        "the material is damp or aged",
        "printer",
        0.06,
        {"stringing": 0.65, "rough surface": 0.18, "under-extrusion": 0.08, "other": 0.09},
        "dry the spool, or use a fresh bottle, and try a small coupon",
        resin={
            "rough surface": 0.4,
            "layers parted": 0.25,
            "cracked after curing": 0.15,
            "missing region": 0.1,
            "other": 0.1,
        },
    ),
    "flow": CauseCard(
        "the printer lays down more than it should",
        "printer",
        0.05,
        {"fused joint": 0.5, "rough surface": 0.3, "stringing": 0.1, "other": 0.1},
        "measure the hole and shaft gauge again",
    ),
    "handling": CauseCard(
        "it broke in the hand or under the tool",
        "hand",
        0.03,
        {"broken in removal": 0.9, "other": 0.1},
        "warm or soften supports as their maker allows, cut away from yourself, and free thin places first",
        resin={"broken in removal": 0.8, "cracked after curing": 0.1, "other": 0.1},
    ),
    "suction": CauseCard(
        "a hollow closed towards the plate sucks at the film",
        "part",
        0.10,
        {
            "stuck to the film": 0.35,
            "torn off supports": 0.25,
            "layers parted": 0.25,
            "missing region": 0.1,
            "other": 0.05,
        },
        "give the hollow named a vent of 2 mm near the plate, or turn the part",
        only="resin",
    ),
    "peel": CauseCard(
        "its largest layer pulls hard at the film",
        "part",
        0.10,
        {
            "torn off supports": 0.45,
            "came loose": 0.25,
            "stuck to the film": 0.15,
            "layers parted": 0.1,
            "other": 0.05,
        },
        "tilt the part, hollow it, or set its supports closer",
        only="resin",
    ),
    "trapped": CauseCard(
        "liquid resin stays shut in a hollow",
        "part",
        0.05,
        {"cracked after curing": 0.95, "other": 0.05},
        "two drain holes, or fill the hollow; gloves and goggles, and cure what drains",
        only="resin",
    ),
    "exposure": CauseCard(
        "layers get too little light",
        "printer",
        0.10,
        {
            "layers parted": 0.4,
            "torn off supports": 0.25,
            "missing region": 0.15,
            "stuck to the film": 0.1,
            "rough surface": 0.05,
            "other": 0.05,
        },
        "warm the resin to the room, stir it, and print a small coupon with a longer exposure",
        only="resin",
    ),
    "film": CauseCard(
        "the film is worn, cloudy or slack",
        "printer",
        0.06,
        {"stuck to the film": 0.6, "rough surface": 0.2, "missing region": 0.1, "layers parted": 0.05, "other": 0.05},
        "with gloves: sieve the vat, and look through the film for clouds and dents; change it where there are any",
        only="resin",
    ),
}


def causes_of(process: Process) -> dict[Cause, CauseCard]:
    """The causes that a process has."""
    return {c: card for c, card in CAUSES.items() if card.only in (None, process)}
