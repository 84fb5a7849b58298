"""A served page and a browser to open it with; both are missed with a reason where they are not there."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path

import pytest

HERE = Path(__file__).parent
WEB = HERE.parents[1] / "web"


def _missing() -> str | None:
    if not (resources.files("condyle.atlas") / "page" / "index.html").is_file():
        return "the page was not built (make page)"
    if not (WEB / "node_modules" / "playwright-core").is_dir() or shutil.which("node") is None:
        return "Node or its packages are not there (make page)"
    if _chromium() is None:
        return "there is no Chromium"
    return None


def _chromium() -> str | None:
    return next((p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None)


@pytest.fixture(scope="session")
def browser() -> Callable[..., str]:
    """Runs one of the journeys with its arguments in Chromium; returns what it printed, fails with what it found."""
    if reason := _missing():
        pytest.skip(reason)

    def run(journey: str, *arguments: object, limit_s: float = 300.0) -> str:
        done = subprocess.run(
            ["node", str(HERE / journey), *map(str, arguments)],
            env={**os.environ, "CHROMIUM": _chromium() or ""},
            capture_output=True,
            text=True,
            timeout=limit_s,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    return run


@pytest.fixture
def served(browser: object) -> Iterator[Callable[[Path], str]]:
    """Serves a figure file, which need not exist yet, as the command does; returns the address that it prints."""
    running: list[subprocess.Popen[str]] = []

    def serve(figure: Path) -> str:
        command = [str(Path(sys.executable).with_name("condyle")), "atlas", str(figure), "--no-browser", "--port", "0"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "COLUMNS": "400"})
        running.append(process)
        assert process.stdout is not None
        line = process.stdout.readline()
        assert "http://127.0.0.1:" in line, line
        return line.split()[-1]

    yield serve
    for process in running:
        process.terminate()
        process.wait(20)
        if process.stdout is not None:
            process.stdout.close()
