"""The finished figure as one HTML file: the same page with everything in it, shown and posed anywhere, offline.

The file's content security policy lets nothing in or out: its one script and one style sheet are named by their hashes
(CSP Level 3, 2.3.1), and no connection is allowed at all.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
from importlib import resources
from pathlib import Path
from typing import Any

from condyle.atlas.desk import Desk
from condyle.atlas.details import finish_of, lying_parts, solved_poses
from condyle.errors import UsageError
from condyle.project.place import write_file


def export(figure: Path, kit: Path, out: Path) -> None:
    """Write the page of a made figure to ``out``, whole. UsageError where the kit or the built page is missing."""
    desk = Desk(figure, kit, lambda _name, _value: None)
    scene = desk.scene("figure")
    state = desk.state()
    if state.stage != "made" or scene is None:
        raise UsageError("atlas.not_made", "there is no kit to show yet", hint="make the kit first: condyle make")
    given: dict[str, Any] = {
        "/api/state": {**state.model_dump(mode="json"), "files": [], "can_undo": False, "can_redo": False, "job": None},
        "/api/scene/figure.glb": _packed(scene.read_bytes()),
        "/api/poses": [p.model_dump(mode="json") for p in solved_poses(kit, desk.rest())],
        "/api/lying": [p.model_dump(mode="json") for p in lying_parts(kit)],
        "/api/finish": finish_of(kit).model_dump(mode="json"),
    }
    sculpt = desk.scene("sculpt")
    if sculpt is not None:
        given["/api/scene/sculpt.glb"] = _packed(sculpt.read_bytes())
    write_file(out, one_page(given).encode())


def one_page(given: dict[str, Any]) -> str:
    """The built page with its script, its style sheet and the answers that it would ask for, in one text."""
    page = resources.files("condyle.atlas") / "page"
    if not (page / "index.html").is_file():
        raise UsageError("atlas.no_page", "the page was not built", hint="make page (needs Node)")
    html = (page / "index.html").read_text(encoding="utf-8")
    # In a script element only the start of its own end tag, and of a comment, have to be kept apart (HTML, 13.1.2.1).
    script = (page / "atlas.js").read_text(encoding="utf-8").replace("</script", "<\\/script").replace("<!--", "<\\!--")
    style = (page / "index.css").read_text(encoding="utf-8")
    data = json.dumps(given, ensure_ascii=True, allow_nan=False).replace("<", "\\u003c")
    policy = (
        f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; img-src data: blob:; "
        "connect-src 'none'; base-uri 'none'; form-action 'none'"
    )
    html = re.sub(r"<script[^>]*></script>|<link[^>]*rel=\"(?:stylesheet|modulepreload)\"[^>]*>", "", html)
    head = f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n<style>{style}</style>\n'
    tail = f'<script type="application/json" id="given">{data}</script>\n<script type="module">{script}</script>\n'
    before, _, after = html.partition('<meta charset="utf-8" />')
    body, _, end = after.rpartition("</body>")
    return f'{before}<meta charset="utf-8" />\n{head}{body}{tail}</body>{end}'


def _packed(data: bytes) -> str:
    return base64.b64encode(gzip.compress(data, 9, mtime=0)).decode()


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
