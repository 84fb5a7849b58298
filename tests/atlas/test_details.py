"""What the page is told of a finish, where a bearing has no printed mask.

Common practice, no source: a face that no cap fits is masked with tape or liquid mask, so the page has to name it.
"""

from __future__ import annotations

import json
from pathlib import Path

from condyle.atlas.details import finish_of

PART = {
    "name": "arm", "show_mm2": 1.0, "hidden_mm2": 1.0, "bearing_mm2": 1.0, "mean_ra_um": 1.0, "fill_mm2": 1.0, "grits": [],
    "hours": 1.0, "hours_factor": 1.6,
}  # fmt: skip


def test_a_bearing_without_a_cap_is_told(tmp_path: Path) -> None:
    masks = [
        {"joint": "shoulder", "part": "arm", "form": None, "file": None},
        {"joint": "elbow", "part": "arm", "form": "cap", "file": "masks/cap-6x5.7.stl"},
    ]
    (tmp_path / "details").mkdir()
    (tmp_path / "details" / "finish.json").write_text(json.dumps({"parts": [PART], "masks": masks}), "utf-8")
    bare, capped = finish_of(tmp_path).parts["arm"].masks
    assert bare.file is None and "no cap" in bare.form
    assert (capped.form, capped.file) == ("cap", "masks/cap-6x5.7.stl")
