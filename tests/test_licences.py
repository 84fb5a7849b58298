"""Every package that Condyle needs at run time is permissively licensed, by what its own metadata states.

Judged by SPDX expressions, trove classifiers, or the licence field, in this order; packages that say nothing fail too.
Licences of libraries bundled inside a wheel are not looked at.
"""

from __future__ import annotations

import re
from importlib import metadata

import pytest
from packaging.requirements import Requirement

REFUSED = re.compile(r"\b[AL]?GPL|General Public|Affero|SSPL|BUSL|CC-BY-NC|non-?commercial|Proprietary", re.IGNORECASE)
PERMITTED = re.compile(
    r"MIT|BSD|Apache|MPL|Mozilla|ISC|PSF|Python Software|Zlib|CC0|Unlicense|Public Domain", re.IGNORECASE
)


def stated_licence(distribution: metadata.Distribution) -> str:
    """What a package says of itself; of alternatives the first that is permitted."""
    fields = distribution.metadata
    expression = fields.get("License-Expression")
    if expression:
        alternatives = re.split(r"\s+OR\s+", expression)
        return next((a for a in alternatives if PERMITTED.search(a) and not REFUSED.search(a)), expression)
    classifiers = [c for c in fields.get_all("Classifier") or [] if c.startswith("License ::")]
    return " ".join(classifiers) or (fields.get("License") or "").strip().split("\n")[0]


def needed(name: str, *more: str) -> dict[str, metadata.Distribution]:
    """A package, ``more`` that an extra of it asks for, and all that they need on this machine."""
    found: dict[str, metadata.Distribution] = {}
    waiting = [name, *more]
    while waiting:
        current = re.sub(r"[-_.]+", "-", waiting.pop()).lower()
        if current in found:
            continue
        found[current] = metadata.distribution(current)
        for line in found[current].requires or []:
            requirement = Requirement(line)
            if requirement.marker is None or requirement.marker.evaluate({"extra": ""}):
                waiting.append(requirement.name)
    return found


NEEDED = needed("condyle", "distributed")


@pytest.mark.parametrize("name", sorted(NEEDED))
def test_a_needed_package_is_permissively_licensed(name: str) -> None:
    licence = stated_licence(NEEDED[name])
    assert PERMITTED.search(licence), f"{name} states no licence that is permitted: {licence!r}"
    assert not REFUSED.search(licence), f"{name}: {licence}"


def test_the_judge_knows_a_refused_licence() -> None:
    for text in (
        "GPL-3.0-or-later",
        "LGPL-2.1-only",
        "License :: OSI Approved :: GNU Affero General Public License v3",
    ):
        assert REFUSED.search(text)
    for text in ("MIT", "BSD-3-Clause AND 0BSD AND MIT AND Zlib AND CC0-1.0", "MIT-CMU"):
        assert PERMITTED.search(text)
        assert not REFUSED.search(text)


def test_the_walk_reaches_what_is_needed_by_what_is_needed() -> None:
    assert {"numpy", "manifold3d", "llvmlite", "pydantic-core"} <= set(NEEDED)
