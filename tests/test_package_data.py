"""What is not Python travels with the package: templates, cards and the schema of proof.json."""

from __future__ import annotations

import json
import tomllib
import zipfile
from importlib import resources
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize(
    ("package", "folder", "least"),
    [
        ("condyle.figure", "templates", 2),
        ("condyle.workshop", "cards/printers", 2),
        ("condyle.workshop", "cards/materials", 2),
        ("condyle.workshop", "cards/fits", 2),
    ],
)
def test_files_of_the_package_are_found(package: str, folder: str, least: int) -> None:
    files = [f for f in resources.files(package).joinpath(folder).iterdir() if f.name.endswith(".toml")]
    assert len(files) >= least
    for file in files:
        assert tomllib.loads(file.read_text(encoding="utf-8"))["schema"] == 1


def test_the_schema_and_the_type_marker_are_found() -> None:
    schema = json.loads((resources.files("condyle.project") / "proof.schema.json").read_text(encoding="utf-8"))
    assert schema["properties"]["schema"] == {"const": 1}
    assert (resources.files("condyle") / "py.typed").is_file()


@pytest.mark.slow
def test_the_wheel_carries_them(tmp_path: Path) -> None:
    import subprocess
    import sys

    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(tmp_path), str(ROOT)]
    subprocess.run(command, check=True, timeout=300)
    (wheel,) = tmp_path.glob("*.whl")
    inside = set(zipfile.ZipFile(wheel).namelist())
    source = ROOT / "src"
    wanted = {p.relative_to(source).as_posix() for p in source.rglob("*") if p.suffix in (".py", ".toml", ".json")}
    assert wanted <= inside
    assert not any(name.endswith((".pyc", ".nbi", ".nbc")) for name in inside)
