"""What a sheet still asks, one question after the other: for a terminal now, for any other page later."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, get_args

import tomlkit

from condyle.workshop.calibration.answers import WHEN_KEYS, Sheet
from condyle.workshop.calibration.records import FEELS, Bent, Stood
from condyle.workshop.toml_file import KeyPath, key_lines, read_checked


@dataclass(frozen=True)
class Question:
    """One blank of a sheet.

    group     questions of one group belong together and have one heading
    choices   the words that may be answered; empty for a number
    """

    path: KeyPath
    group: str
    words: str
    choices: tuple[str, ...] = ()


def open_questions(text: str, file: str) -> list[Question]:
    """The blanks of a sheet in the order of its lines. Raises FigureFileError as ``parse_answers`` for a spoilt sheet."""
    sheet = read_checked(Sheet, text, file)
    found: list[Question] = []
    for family, sizes in sheet.ladder.items():
        for size, ladder in sizes.items():
            group = f"{family.replace('_', ' ')} {size} mm: push each stud in, move it ten times"
            for mark, answer in ladder.felt.items():
                if answer == "":
                    drawn = (
                        ladder.drawn_mm[int(mark) - 1] if mark.isdigit() and int(mark) <= len(ladder.drawn_mm) else 0.0
                    )
                    found.append(Question(("ladder", family, size, "felt", mark), group,
                                          f"joint {mark} (drawn {drawn:+.3f} mm)", FEELS))  # fmt: skip
    if sheet.gauge is not None:
        for name, what in (("holes", "hole"), ("shafts", "shaft"), ("lengths", "outside length")):
            for drawn_name, value in getattr(sheet.gauge, name).items():
                if value == "":
                    found.append(Question(("gauge", name, drawn_name), f"gauge, readings in {sheet.unit}",
                                          f"{what} drawn {drawn_name} mm"))  # fmt: skip
    if sheet.steps is not None:
        group = f"stair, readings in {sheet.unit}"
        found += [Question(("steps", n), group, f"width {w}") for n, w in
                  (("foot", "just above the plate"), ("above", "at half height")) if getattr(sheet.steps, n) == ""]  # fmt: skip
        found += [Question(("steps", "heights", h), group, f"step drawn {h} mm high")
                  for h, value in sheet.steps.heights.items() if value == ""]  # fmt: skip
    if sheet.walls is not None:
        found += [Question(("walls", "stood", m), "walls: how does each stand?", f"wall {m}", get_args(Stood))
                  for m, value in sheet.walls.stood.items() if value == ""]  # fmt: skip
    for way, tongues in sheet.strain.items():
        found += [Question(("strain", way, "bent", m), f"tongues {way} the layers, glasses on: push each ten times",
                           f"tongue {m}", get_args(Bent)) for m, value in tongues.bent.items() if value == ""]  # fmt: skip
    if sheet.friction is not None:
        for mark, socket in sheet.friction.sockets.items():
            for key, when in WHEN_KEYS.items():
                hung = getattr(socket, key)
                if hung.held_g == "" and hung.sank_g == "":
                    group = f"friction beam, socket {mark}, {when}"
                    path: KeyPath = ("friction", "sockets", mark, key)
                    found += [Question((*path, "hole_mm"), group, "hole used, mm from the ball"),
                              Question((*path, "held_g"), group, "most that stayed up, g"),
                              Question((*path, "sank_g"), group, "first that sank, g")]  # fmt: skip
    lines = key_lines(text)
    return sorted(found, key=lambda q: lines.get(q.path, 0))


def with_answer(text: str, path: KeyPath, value: str | float) -> str:
    """The sheet with one blank filled in; comments and order stay."""
    document = tomlkit.parse(text)
    table: Any = document
    for key in path[:-1]:
        table = table[str(key)]
    old = table[str(path[-1])]
    new = tomlkit.item(value)
    new.trivia.comment_ws, new.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    table[str(path[-1])] = new
    return tomlkit.dumps(document)
