"""Changes of a file that keep its outer form: what lies inside a GLB, a 3MF package or a TOML file is changed and wrapped again.

A mutator that changes bytes alone never gets past a length or a checksum.
"""

from __future__ import annotations

import io
import json
import random
import struct
import warnings
import zipfile
from collections.abc import Callable
from typing import Any

Bytes = Callable[[bytes], bytes]
"""Changes bytes anyhow."""

ODD_NUMBERS: tuple[Any, ...] = (0, -1, 1, 2, 3, 7, 255, 256, 65535, 2**31 - 1, 2**31, 2**32, 2**63, 10**30, -(2**31), 0.5, 1e-300, 1e308,
                                float("nan"), float("inf"), -float("inf"))  # fmt: skip
ODD_VALUES: tuple[Any, ...] = (
    None,
    True,
    False,
    "",
    "x",
    "../../etc/passwd",
    "\0",
    "a" * 300,
    [],
    {},
    [1, 2, 3],
    [[]],
    {"": None},
)
TOML_VALUES = ("nan", "inf", "-inf", "1e308", "-1", "0", "99999999999999999999", "true", '""', '"x"', "[]", "[nan, 1, 2]", "{}",
               "{ value = 1 }", "2027-01-04", '"../../etc/passwd"', '"\\u0000"', "[[1], [2]]", "'''", '"""', "0x7f", "1_0")  # fmt: skip


def json_changed(dice: random.Random, tree: Any) -> Any:
    """One entry somewhere replaced, dropped, doubled, or put in the place of another."""
    places: list[tuple[Any, Any]] = []

    def walk(node: Any) -> None:
        for key in list(node) if isinstance(node, dict) else range(len(node)):
            places.append((node, key))
            if isinstance(node[key], dict | list):
                walk(node[key])

    if not isinstance(tree, dict | list) or not tree:
        return dice.choice(ODD_VALUES)
    walk(tree)
    holder, key = dice.choice(places)
    way = dice.randrange(6)
    if way == 0:
        del holder[key]
    elif way == 1 and isinstance(holder, list):
        holder.insert(key, holder[key])
    elif way == 2:
        other, at = dice.choice(places)
        holder[key] = json.loads(json.dumps(other[at])) if at in other or isinstance(other, list) else None
    elif way == 3 and isinstance(holder[key], int | float):
        holder[key] = holder[key] + dice.choice((-1, 1, 4, -4))
    elif way == 4 and isinstance(holder, dict):
        holder[dice.choice((*holder, "extensions", "sparse", "uri", "extras"))] = dice.choice(ODD_VALUES)
    else:
        holder[key] = dice.choice(ODD_NUMBERS if dice.random() < 0.6 else ODD_VALUES)
    return tree


def gltf(dice: random.Random, data: bytes, change: Bytes) -> bytes:
    """The document of a GLB or .gltf changed, or the binary chunk of a GLB."""
    if data[:4] != b"glTF":
        try:
            return json.dumps(json_changed(dice, json.loads(data))).encode()
        except (ValueError, RecursionError, IndexError, KeyError, TypeError):
            return change(data)
    length = int.from_bytes(data[12:16], "little")
    text, rest = data[20 : 20 + length], data[20 + length :]
    if dice.random() < 0.8:
        try:
            text = json.dumps(json_changed(dice, json.loads(text))).encode()
        except (ValueError, RecursionError, IndexError, KeyError, TypeError):
            text = change(text)
    else:
        rest = rest[:8] + change(rest[8:])
        rest = struct.pack("<I", len(rest) - 8) + rest[4:] if len(rest) > 8 else rest
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<I", len(text)) + b"JSON" + text + rest
    return b"glTF" + struct.pack("<II", 2, 12 + len(chunks)) + chunks


def package(dice: random.Random, data: bytes, change: Bytes) -> bytes:
    """One file inside a ZIP changed, dropped, doubled or renamed, and the archive written anew."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = [(i.filename, archive.read(i)[:100_000]) for i in archive.infolist()[:12] if i.file_size < 100_000]
    except Exception:  # whatever a broken archive raises, it is changed as bytes
        return change(data)
    if not parts:
        return change(data)
    at = dice.randrange(len(parts))
    name, body = parts[at]
    way = dice.randrange(12)
    if way == 0:
        del parts[at]
    elif way == 1:
        parts.append((dice.choice((name, name.upper(), "/" + name, "../" + name, name + "/")), body))
    elif way == 2:
        parts[at] = (dice.choice((name.lower(), name.replace("/", "\\"), "x" + name, "")), body)
    elif way < 8:
        parts[at] = (name, words_changed(dice, body, b"<"))
    else:
        parts[at] = (name, change(body))
    out = io.BytesIO()
    kind = dice.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))
    with zipfile.ZipFile(out, "w", kind) as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # two parts of one name are wanted
        for name, body in parts:
            info = zipfile.ZipInfo(name or "x", (1980, 1, 1, 0, 0, 0))
            info.compress_type = kind
            try:
                archive.writestr(info, body)
            except ValueError:
                continue
    return out.getvalue()


def words_changed(dice: random.Random, data: bytes, before: bytes) -> bytes:
    """Pieces of a text that begin with ``before`` dropped, doubled, exchanged, or with a number in them replaced."""
    pieces = data.split(before)
    i, j = dice.randrange(len(pieces)), dice.randrange(len(pieces))
    way = dice.randrange(4)
    if way == 0 and len(pieces) > 1:
        del pieces[i]
    elif way == 1:
        pieces.insert(j, pieces[i])
    elif way == 2:
        pieces[i], pieces[j] = pieces[j], pieces[i]
    else:
        words = pieces[i].split(b'"' if before == b"<" else b" ")
        k = dice.randrange(len(words))
        words[k] = str(dice.choice((*ODD_NUMBERS, *words[:3]))).encode()
        pieces[i] = (b'"' if before == b"<" else b" ").join(words)
    return before.join(pieces)


def lines(dice: random.Random, data: bytes, change: Bytes) -> bytes:
    """A text of lines (STL, OBJ, PLY headers): lines dropped, doubled, exchanged, numbers replaced."""
    return words_changed(dice, data, b"\n") if dice.random() < 0.5 else change(data)


def toml(dice: random.Random, data: bytes, change: Bytes) -> bytes:
    """A TOML file with a value replaced, a key renamed, a line dropped, doubled or moved, a table opened."""
    rows = data.split(b"\n")
    at = dice.randrange(len(rows))
    row = rows[at]
    way = dice.randrange(9)
    if way < 4 and b"=" in row:
        rows[at] = row.split(b"=", 1)[0] + b"= " + dice.choice(TOML_VALUES).encode()
    elif way == 4 and b"=" in row:
        rows[at] = dice.choice((b"", b"x", b"a.b", b'"a b"', b"value", b"kind")) + b" =" + row.split(b"=", 1)[1]
    elif way == 5:
        rows.insert(dice.randrange(len(rows)), row)
    elif way == 6:
        del rows[at]
    elif way == 7:
        rows.insert(at, b"[" + dice.choice(rows)[:20].strip(b"[]= ") + b"]")
    else:
        return change(data)
    return b"\n".join(rows)


def as_json(dice: random.Random, data: bytes, change: Bytes) -> bytes:
    """A JSON text with an entry changed."""
    try:
        return json.dumps(json_changed(dice, json.loads(data))).encode()
    except (ValueError, RecursionError, IndexError, KeyError, TypeError):
        return change(data)
