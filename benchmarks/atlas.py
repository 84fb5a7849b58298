"""The atlas: how soon a moved joint is cut and measured again, how soon the page shows something, how quickly it turns.

``python -m benchmarks atlas`` makes the diver at 300,000 triangles first, which takes minutes. Live: each joint is taken
up and moved 0.7 mm along z three times; the medians of the seconds from the move to the new cut, to fit and walls, and to
the ranges of motion, by the clock and as processor seconds of all threads (on a busy machine those tell more), and the load. Page, in
Chromium where there is one: seconds from the command to the first picture of the figure, bytes of the page as gzip packs
it, memory of the page's process and of its JavaScript heap, and pictures a second while the figure is turned without
pause, beside those of the empty page in the same run.
"""

from __future__ import annotations

import gzip
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from importlib import resources
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
TRIANGLES = 300_000
JOINTS = ("elbow_left", "knee_left", "wrist_left", "shoulder_left", "hip_left", "neck", "waist")
MOVE_MM = 0.7


def run(triangles: int = TRIANGLES) -> list[dict[str, Any]]:
    """Rows of both kinds on a fresh diver."""
    from condyle.cli.demo import run_demo

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "diver"
        run_demo(out, triangles)
        return [*live_rows(out / "figure.toml"), *page_rows(out / "figure.toml")]


def live_rows(figure: Path, joints: tuple[str, ...] = JOINTS) -> list[dict[str, Any]]:
    """One row for each joint; moves are written to a copy of the figure file beside it."""
    from condyle.atlas.live import follow, made_live, take_up
    from condyle.project.watch import Watch

    start = time.perf_counter()
    live = made_live(figure, Watch())
    ready_s = time.perf_counter() - start
    rows = []
    copy, text = figure.with_name(".moved.toml"), figure.read_text(encoding="utf-8")
    try:
        for joint in joints:
            start = time.perf_counter()
            take_up(live, joint, Watch())
            taken_s = time.perf_counter() - start
            built = next(j for j in live.kit.joints if j.name == joint).seated
            centre = built.frame.origin.copy()
            lies = {"along": built.frame.z.tolist(), "axis": built.frame.x.tolist(), "cut": list(built.cut_axis)}
            took: list[dict[str, float]] = []
            for _ in range(3):
                centre[2] += MOVE_MM
                text = _moved(text, joint, {"centre": centre.tolist(), **lies})
                copy.write_text(text, encoding="utf-8")
                cpu = time.process_time()
                told: dict[str, Any] = {}
                spent: list[float] = []

                def hear(kind: str, value: Any, told=told, spent=spent, cpu=cpu) -> None:  # type: ignore[no-untyped-def]
                    if kind == "live":
                        told.update(value)
                        spent.append(time.process_time() - cpu)

                follow(live, copy, Watch(), hear)
                took.append({**told["seconds"], "cut_cpu": spent[0], "cpu": spent[-1]})
            medians = {k: statistics.median(t[k] for t in took) for k in ("cut", "fit", "motion", "cut_cpu", "cpu")}
            rows.append({
                "triangles": len(live.sculpt.faces), "joint": joint, "ready_s": ready_s, "taken_up_s": taken_s,
                **{f"{k}_s": v for k, v in medians.items()}, "load": os.getloadavg()[0],
            })  # fmt: skip
    finally:
        copy.unlink(missing_ok=True)
    return rows


def _moved(text: str, joint: str, lies: dict[str, list[float]]) -> str:
    """The figure file with a joint set by hand."""
    import tomlkit

    tree: Any = tomlkit.parse(text)
    table = tree["joints"][joint]
    for key, value in lies.items():
        table[key] = [round(v, 6) for v in value]
    table["source"] = "hand"
    return str(tomlkit.dumps(tree))


def page_rows(figure: Path) -> list[dict[str, Any]]:
    """One row, of a figure whose kit is made beside it; none where there is no Chromium."""
    chromium = next((p for n in ("chromium", "chromium-browser") if (p := shutil.which(n))), None)
    page = resources.files("condyle.atlas") / "page"
    if chromium is None or not (page / "index.html").is_file():
        return []
    packed = sum(len(gzip.compress(f.read_bytes(), 9)) for f in page.iterdir() if f.is_file())
    with tempfile.TemporaryDirectory() as folder:
        command = [str(Path(sys.executable).with_name("condyle")), "atlas", str(figure)]
        done = subprocess.run(
            ["node", str(HERE / "atlas.mjs"), str(Path(folder) / "figure.toml"), *command],
            env={**os.environ, "CHROMIUM": chromium, "COLUMNS": "400"}, stdout=subprocess.PIPE, text=True, check=True,
        )  # fmt: skip
    return [{"page_gzip_bytes": packed, **json.loads(done.stdout.splitlines()[-1])}]


if __name__ == "__main__":
    where = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    print(*([*live_rows(where), *page_rows(where)] if where else run()), sep="\n")
