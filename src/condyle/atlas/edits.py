"""Changes to figure.toml from the page: the file keeps its comments and its order, and a change that makes it unusable
is refused before anything is written.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit
from pydantic import BaseModel, ConfigDict, Field

from condyle.errors import UsageError
from condyle.project.figure_file import parse_figure

Value = str | bool | int | float | list[float] | list[list[float]] | dict[str, list[float]] | dict[str, float] | None

EDITABLE = frozenset(
    {"figure", "skeleton", "workshop", "motion", "joints", "poses", "colours", "finish", "stand", "parts", "pieces"}
)


class Change(BaseModel):
    """One key to set, or to remove where ``value`` is null: ``path`` such as ["joints", "knee_left", "size"]."""

    model_config = ConfigDict(extra="forbid")

    path: list[str] = Field(min_length=2, max_length=4)
    value: Value = None


def edited(path: Path, text: str, changes: list[Change]) -> str:
    """The text after the changes. UsageError for a place that is none; FigureFileError where the file would not be usable.

    A joint whose place was found is the maker's own once its centre, axis or cut is changed: ``source`` becomes "hand".
    """
    tree = tomlkit.parse(text)
    for change in changes:
        if change.path[0] not in EDITABLE:
            raise UsageError("atlas.path", f"[{change.path[0]}] is not a table of a figure file")
        _set(tree, change.path, change.value)
        if change.path[0] == "joints" and change.path[-1] in ("centre", "along", "axis", "cut"):
            _set(tree, [*change.path[:2], "source"], "hand")
    new = tomlkit.dumps(tree)
    parse_figure(path, new)
    return new


def _set(tree: Any, path: list[str], value: Value) -> None:
    table = tree
    for number, key in enumerate(path[:-1]):
        if key not in table:
            if value is None:
                return
            table[key] = tomlkit.table(is_super_table=number == 0 and len(path) > 2)
        table = table[key]
        if not hasattr(table, "keys"):
            raise UsageError("atlas.path", f"{'.'.join(path[: number + 1])} is not a table")
    if value is None:
        table.pop(path[-1], None)
    elif isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        table[path[-1]] = inline
    else:
        table[path[-1]] = value


def with_pose(path: Path, text: str, name: str, joints: dict[str, dict[str, float]]) -> str:
    """The text with a pose added, or put in place of the one of that name.

    ``joints`` holds degrees from the sculpt's own pose, by joint and motion; the file counts from the human zero, so the
    angles in which the sculpt stands are added. UsageError for an empty name; FigureFileError as ``edited``.
    """
    if not name.strip():
        raise UsageError("atlas.pose", "a pose needs a name")
    stands = {n: t.rest.angles if t.rest else {} for n, t in parse_figure(path, text).content.joints.items()}
    tree = tomlkit.parse(text)
    if "poses" not in tree:
        tree["poses"] = tomlkit.aot()
    poses: Any = tree["poses"]
    for number, old in enumerate(poses):
        if old.get("name") == name:
            del poses[number]
            break
    table = tomlkit.table()
    table["name"] = name
    for joint in sorted(joints):
        inline = tomlkit.inline_table()
        inline.update({m: round(v + stands.get(joint, {}).get(m, 0.0), 1) for m, v in sorted(joints[joint].items())})
        table.append(tomlkit.key(["joints", joint]), inline)
    poses.append(table)
    new = tomlkit.dumps(tree)
    parse_figure(path, new)
    return new
