"""The work that a kit asks for, as tasks with hours and what each waits for. Rates are common practice, no source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from condyle.finish.coats import Coat
from condyle.finish.schedule import Task

CLEAN_H, FIT_H, HOLD_H, ASSEMBLE_H = 2 / 60, 3 / 60, 2 / 60, 4 / 60
"""Hours for each part cleaned, each joint fitted dry, each part put on its holder, each step of assembly."""

FILL_CM2_H, FILL_DRY_H = 120.0, 12.0
SPRAY_CM2_H, BRUSH_CM2_H, SET_UP_H = 1500.0, 150.0, 0.25


@dataclass(frozen=True)
class Amount:
    """How much there is to do.

    prints       each plate's name and hours; fill_cm2 and sand_h of all parts; show_cm2 what is painted
    detail_cm2   what is painted by brush
    """

    prints: Sequence[tuple[str, float]]
    parts: int
    joints: int
    steps: int
    fill_cm2: float
    sand_h: float
    show_cm2: float
    detail_cm2: float = 0.0


def work_of(amount: Amount, coats: Sequence[Coat]) -> tuple[Task, ...]:
    """Tasks from the first plate to the last joint. Every figure joint is freed before paint and closed after it cured."""
    tasks = [
        Task(f"print {name}", 0.25, hours, at="printer", goes_wrong="it comes loose: look in after the first layers")
        for name, hours in amount.prints
    ]
    before = tuple(t.name for t in tasks)
    tasks.append(
        Task(
            "clean",
            CLEAN_H * amount.parts,
            after=before,
            divisible=True,
            goes_wrong="thin places break with their supports",
        )
    )
    tasks.append(
        Task(
            "fit dry and free the joints", FIT_H * amount.joints, after=("clean",), divisible=True,
            goes_wrong="a joint forced before it runs cracks its socket",
        )
    )  # fmt: skip
    last = "fit dry and free the joints"
    if amount.fill_cm2 > 1.0:
        tasks.append(
            Task(
                "fill", amount.fill_cm2 / FILL_CM2_H, FILL_DRY_H, (last,), divisible=True,
                goes_wrong="filler in a kerf or a socket locks the joint",
            )
        )  # fmt: skip
        last = "fill"
    tasks.append(
        Task(
            "sand", amount.sand_h, after=(last,), divisible=True,
            goes_wrong="edges and details get round; sand wet, and nothing in sockets",
        )
    )  # fmt: skip
    tasks.append(
        Task(
            "wash, mask and put on holders", HOLD_H * amount.parts, 2.0, ("sand",), divisible=True,
            goes_wrong="dust and skin grease under paint make it peel",
        )
    )  # fmt: skip
    last = "wash, mask and put on holders"
    for coat in coats:
        tasks += _passes(coat, amount, last)
        last = tasks[-1].name
    hardest = max((c.cure_h for c in coats), default=0.0)
    tasks.append(Task("let it cure", 0.0, hardest, (last,), goes_wrong="a joint moved too early tears its paint"))
    tasks.append(
        Task(
            "put together", ASSEMBLE_H * amount.steps, after=("let it cure",), divisible=True,
            goes_wrong="a part forced askew cracks its socket",
        )
    )  # fmt: skip
    return tuple(tasks)


def _passes(coat: Coat, amount: Amount, before: str) -> list[Task]:
    out = []
    for number in range(1, coat.times + 1):
        name = f"{coat.role} coat" + (f" {number} of {coat.times}" if coat.times > 1 else "")
        last = number == coat.times
        if coat.role == "detail":
            hands = SET_UP_H + max(amount.detail_cm2, 0.15 * amount.show_cm2) / BRUSH_CM2_H
        else:
            hands = SET_UP_H + amount.show_cm2 / SPRAY_CM2_H
        out.append(
            Task(
                name,
                hands,
                coat.next_h[0] if last else coat.recoat_h,
                (before,),
                # What comes before a kind's first pass sets the window; its own passes may follow any time.
                {},
                divisible=coat.role == "detail",
                at="booth",
                goes_wrong=_WRONG[coat.role],
            )
        )
        before = name
    return out


_WRONG = {
    "primer": "too wet, and it fills the details and the kerfs",
    "base": "it peels where the primer was glossy or greasy",
    "detail": "it lifts when it is gone over before it is dry",
    "clear": "sprayed in damp air it turns milky",
}
