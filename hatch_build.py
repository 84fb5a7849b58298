"""Build hook: the page of the atlas is built with npm when the wheel is made and it is not there yet.

An sdist carries the built page, so a wheel made from it needs no Node. A working copy without Node goes without the page;
``condyle atlas`` then says how to build it.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class PageHook(BuildHookInterface):  # type: ignore[type-arg]
    """Runs before a wheel or an sdist is put together."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the page where it is missing. A failed build of a release stops it; one of a working copy warns."""
        root = Path(self.root)
        page = root / "src" / "condyle" / "atlas" / "page"
        web = root / "web"
        if not (page / "index.html").is_file() and (web / "package.json").is_file():
            npm = shutil.which("npm")
            if npm is None:
                self.app.display_warning("no npm: the atlas's page is left out (build it with: make page)")
                return
            try:
                for command in (["ci", "--no-audit", "--no-fund"], ["run", "build"]):
                    subprocess.run([npm, *command], cwd=web, check=True)
            except (OSError, subprocess.CalledProcessError) as error:
                if version != "editable":
                    raise
                self.app.display_warning(f"the atlas's page was not built: {error}")
                return
        if (page / "index.html").is_file():
            build_data.setdefault("artifacts", []).append("src/condyle/atlas/page/*")
