"""What is fuzzed: for each reader its seeds, how its files are changed, and what counts as an answer.

An answer is a value that holds what it promises, or a refusal with code, remedy and place. Anything else that is raised, more than
``ROOM`` of new memory, or no answer within the fuzzer's time, is a failure.
"""

from __future__ import annotations

import importlib
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from condyle.errors import CondyleError, InputError, UsageError
from tests.fuzz import mutate

if TYPE_CHECKING:
    from condyle.geometry.mesh import Mesh

CORPUS = Path(__file__).parent.parent / "corpus"
BESIDE = b"\n\xff beside \xff\n"
"""In a mesh input, what follows this is what any file beside it holds (materials, textures, buffers)."""

Answer = Callable[[bytes], None]


@dataclass(frozen=True)
class Target:
    """One reader.

    suffix   of its files in the corpus
    follows  the modules whose lines guide the fuzzer
    seeds    sound files to begin from
    answer   reads a file and raises AssertionError, or whatever escapes, when it is not answered
    change   how a file is changed beside plain bytes
    """

    suffix: str
    follows: tuple[str, ...]
    seeds: Callable[[], list[bytes]]
    answer: Answer
    change: Callable[[random.Random, bytes, mutate.Bytes], bytes]


def told(error: CondyleError, *, place: bool = True) -> None:
    """A refusal has a code, printable words, a remedy, and where it is."""
    assert isinstance(error, InputError | UsageError), f"{error.code}: {error.message}"
    assert error.code
    assert error.message.isprintable(), error.message
    assert error.hint, error.message
    assert error.place.file or not place, error.message


def mesh_answer(suffix: str) -> Answer:
    """Reads a mesh file; what comes out is finite and points at vertices that exist."""

    def answer(data: bytes) -> None:
        from condyle.errors import FileFormatError
        from condyle.geometry.formats import read_scene_bytes

        content, _, beside = data.partition(BESIDE)
        try:
            scene = read_scene_bytes(content, "a" + suffix, (lambda _: beside) if beside else None)
        except FileFormatError as error:
            told(error)
            return
        for named in scene.meshes:
            mesh = named.mesh
            assert np.isfinite(mesh.vertices).all()
            assert mesh.triangle_count
            assert 0 <= int(mesh.faces.min()) <= int(mesh.faces.max()) < len(mesh.vertices)
            assert named.colours is None or named.colours.shape == (mesh.triangle_count, 3)
        assert np.isfinite(np.array([*scene.joints.values()], dtype=float)).all()
        assert all(n.isprintable() for n in scene.notes), scene.notes

    return answer


def toml_answer(kind: str) -> Answer:
    """Reads one of the maker's files."""

    def answer(data: bytes) -> None:
        from tests.fuzz.test_toml_files import FILES

        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            return  # refused by whoever reads the file from the disk; see the command tests
        try:
            FILES[kind][1](text)
        except CondyleError as error:
            told(error)

    return answer


def toml_seeds(kind: str) -> Callable[[], list[bytes]]:
    def seeds() -> list[bytes]:
        from tests.fuzz.test_toml_files import FILES

        return [FILES[kind][0].encode()]

    return seeds


def shapes(*names: str) -> Callable[[], list[bytes]]:
    """The sound files of the format tests, and some that need more of a reader."""

    def seeds() -> list[bytes]:
        made = importlib.import_module("tests.fuzz.seeds").made()
        return [made[n] for n in names]

    return seeds


def sculpt_answer(data: bytes) -> None:
    """Triangles on a coarse grid, where everything meets everything: one sound solid, or a refusal."""
    from condyle.errors import SculptError
    from condyle.figure.intake import IntakeWanted, take_in
    from condyle.geometry.formats import NamedMesh, Scene

    mesh = coarse_mesh(data)
    if mesh is None:
        return
    try:
        got = take_in(
            Scene((NamedMesh("a", mesh),), "stl"), IntakeWanted(height_mm=100.0, up="z", facing="x", unit="mm")
        )
    except SculptError as error:
        told(error, place=False)
        return
    assert got.solid.volume_mm3 > 0.0
    assert np.isfinite(got.solid.mesh.vertices).all()


def coarse_mesh(data: bytes) -> Mesh | None:
    """Two bytes a vertex (9 × 9 × 9 places, the first count byte tells how many), then three bytes a face."""
    from condyle.geometry.mesh import Mesh

    if len(data) < 20:
        return None
    count = 4 + data[0] % 28
    raw = np.frombuffer(data[1:], dtype=np.uint8).astype(np.int64)
    places = (raw[: 2 * count : 2] * 256 + raw[1 : 2 * count : 2])[:count]
    if len(raw) < 2 * count + 12:
        return None
    vertices = np.stack([places % 9, places // 9 % 9, places // 81 % 9], axis=1).astype(np.float64)
    rest = raw[2 * count :][: 3 * 60]
    faces = (rest[: len(rest) // 3 * 3] % count).reshape(-1, 3)
    return Mesh(vertices, faces)


def page_seeds() -> list[bytes]:
    from tests.fuzz.page import seeds

    return seeds()


def page_answer(data: bytes) -> None:
    """Sends a request to the page's server."""
    from tests.fuzz.page import answer

    answer(data)


FORMATS = "condyle.geometry.formats"
READERS: dict[str, Target] = {
    "stl": Target(".stl", (FORMATS,), shapes("a.stl", "text.stl"), mesh_answer(".stl"), mutate.lines),
    "obj": Target(".obj", (FORMATS,), shapes("a.obj", "painted.obj"), mesh_answer(".obj"), mutate.lines),
    "ply": Target(
        ".ply", (FORMATS,), shapes("ascii.ply", "little.ply", "big.ply", "faces.ply"), mesh_answer(".ply"), mutate.lines
    ),
    "gltf": Target(
        ".glb",
        (FORMATS,),
        shapes("a.glb", "skin.glb", "painted.glb", "sparse.glb", "beside.gltf"),
        mesh_answer(".glb"),
        mutate.gltf,
    ),
    "threemf": Target(
        ".3mf", (FORMATS,), shapes("a.3mf", "painted.3mf", "components.3mf"), mesh_answer(".3mf"), mutate.package
    ),
    "sculpt": Target(
        ".tri",
        ("condyle.geometry.repair", "condyle.figure.intake"),
        shapes("cube.tri", "two.tri"),
        sculpt_answer,
        lambda _, d, c: c(d),
    ),
}
TOML_FOLLOWS = ("condyle.project.figure_model", "condyle.project.figure_file", "condyle.workshop", "condyle.figure")
TOML = {
    kind: Target(".toml", TOML_FOLLOWS, toml_seeds(kind), toml_answer(kind), mutate.toml)
    for kind in ("figure", "skeleton", "printer", "material", "fits", "answers")
}
PAGE = Target(
    ".json",
    ("condyle.atlas", "condyle.project.figure_text", "condyle.project.figure_file"),
    page_seeds,
    page_answer,
    mutate.as_json,
)
TARGETS: dict[str, Target] = READERS | TOML | {"page": PAGE}
