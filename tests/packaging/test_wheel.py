"""What is handed out works without this checkout: the wheel holds all it needs, and runs where only it is installed."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

import condyle

ROOT = Path(__file__).parents[2]
DATA = (".toml", ".typ", ".ttf", ".otf", ".json", ".txt", ".html", ".js", ".css")

pytestmark = pytest.mark.slow


def told(command: list[str], **more: object) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False, **more)  # type: ignore[call-overload]
    assert done.returncode == 0, done.stdout + done.stderr
    return str(done.stdout)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist and the wheel that was made from it, as a package index gets them."""
    folder = tmp_path_factory.mktemp("dist")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    told([*pip, "install", "--quiet", "--target", str(folder / "builder"), "build", "hatchling>=1.27"])
    ways = {**os.environ, "PYTHONPATH": str(folder / "builder")}
    told([sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT)], env=ways, cwd=folder)
    return folder


def the(folder: Path, pattern: str) -> Path:
    (path,) = folder.glob(pattern)
    return path


def test_the_wheel_holds_every_module_and_all_data(built: Path) -> None:
    package = Path(condyle.__file__).parent
    wanted = {
        f"condyle/{p.relative_to(package).as_posix()}"
        for p in package.rglob("*")
        if p.is_file() and p.suffix in (".py", *DATA)
    }
    with zipfile.ZipFile(the(built, "*.whl")) as wheel:
        held = set(wheel.namelist())
    assert wanted <= held
    assert not {n for n in held if n.startswith(("tests", "web", "benchmarks"))}
    if (package / "atlas" / "page" / "index.html").is_file():
        assert "condyle/atlas/page/index.html" in held


def test_the_sdist_holds_what_a_build_needs_and_no_litter(built: Path) -> None:
    with tarfile.open(the(built, "*.tar.gz")) as archive:
        names = {n.split("/", 1)[1] for n in archive.getnames() if "/" in n}
    assert {"pyproject.toml", "hatch_build.py", "LICENSE", "README.md", "src/condyle/cli/main.py"} <= names
    assert not [n for n in names if "node_modules" in n or ".venv" in n or n.startswith("build-demo")]


def test_tests_pass_against_the_installed_wheel_with_the_source_out_of_the_way(built: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    told([*pip, "install", "--quiet", "--no-deps", "--target", str(site), str(the(built, "*.whl"))])
    away = {**os.environ, "PYTHONPATH": str(site)}
    where = told([sys.executable, "-c", "import condyle; print(condyle.__file__)"], env=away, cwd=tmp_path)
    assert where.startswith(str(site))
    some = ["tests/cli/test_bad_input.py", "tests/test_package_data.py", "tests/workshop/test_cards.py"]
    told([sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *some], env=away, cwd=ROOT)


def test_a_clean_environment_without_node_or_compilers_proves_a_kit(built: Path, tmp_path: Path) -> None:
    """Only what the wheel asks for is installed; the path holds neither npm nor a compiler."""
    home = tmp_path / "clean"
    venv.create(home, with_pip=True)
    bin_ = home / ("Scripts" if os.name == "nt" else "bin")
    told(
        [
            str(bin_ / "python"),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
            str(the(built, "*.whl")),
        ]
    )
    bare = {"PATH": str(bin_), "HOME": str(tmp_path), "LANG": "C.UTF-8"}
    assert "sound" in told([str(bin_ / "condyle"), "selfcheck"], env=bare, cwd=tmp_path)
