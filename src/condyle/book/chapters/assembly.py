"""Putting it together: the steps of the order that was found, with drawings and forces."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

from condyle.book.drawings import step_drawing
from condyle.book.matter import StepEntry
from condyle.figure.kit import Kit
from condyle.finish.assembly import AssemblyStep, Order
from condyle.geometry.mesh import Mesh

WORDS = (
    "Fit everything together dry once before any paint, and free each joint: move it through its range until it runs. "
    "Take it apart again where that is possible, paint the parts apart with empty sockets, and put it together for good "
    "only when every coat has cured.",
)
TIGHT = "Where a step is marked tight: {}."
APART = "Each step says how it comes apart again. What is glued stays for good, and a lip grips less each time it is passed."


def step_entries(
    kit: Kit, order: Order, meshes: Mapping[str, Mesh], workers: int = 2
) -> tuple[tuple[StepEntry, ...], dict[str, bytes]]:
    """Entries and their pictures by file name."""
    centres = {(j.name, k): a.centre for j in kit.joints for k, a in enumerate(j.axles)}
    pins = {j.name: j.pin_mm for j in kit.joints if j.pin_mm is not None}
    with ThreadPoolExecutor(workers) as pool:
        drawn = list(pool.map(lambda s: step_drawing(s, centres[s.mating.joint, s.mating.axle], meshes), order.steps))
    entries, pictures = [], {}
    for number, (step, drawing) in enumerate(zip(order.steps, drawn, strict=True), start=1):
        name = f"step-{number:02d}.png"
        pictures[name] = drawing.png
        words = _words(step, pins.get(step.mating.joint))
        entries.append(StepEntry(number, _title(step), words, name, drawing.arrow))
    return tuple(entries), pictures


def assembly_words(order: Order) -> tuple[str, ...]:
    """What stands before the steps, the remedies for tight ones included."""
    remedies = dict.fromkeys(s.mating.remedy for s in order.steps if s.mating.remedy)
    return (*WORDS, APART, *(TIGHT.format(r) for r in remedies))


def _title(step: AssemblyStep) -> str:
    return f"{step.mating.moves} into {step.mating.stays}"


def _words(step: AssemblyStep, pin: tuple[float, float] | None) -> tuple[str, ...]:
    mating = step.mating
    words = []
    with_it = [n for n in step.brings if n != mating.moves]
    if with_it:
        words.append(f"With it, already on: {', '.join(with_it)}.".replace("_", " "))
    if step.turn_deg:
        sense = "clockwise" if step.turn_deg > 0 else "counter-clockwise"
        words.append(
            f"Bring it turned {abs(step.turn_deg):.0f}° {sense}, looking the way it goes in, and turn it back once it is home."
        )
    if pin is not None:
        words.append(
            f"Then its pin, {pin[0]:.3g} mm thick and {pin[1]:.3g} mm long: tight in one ear, running in the other."
        )
    elif mating.force_n is not None:
        tight = " Tight: see the remedies at the head of this chapter." if mating.remedy else ""
        words.append(f"Push with about {mating.force_n:.0f} N, straight.{tight}")
    words.append(f"To take it apart: {mating.parts_again}.")
    return tuple(words)
