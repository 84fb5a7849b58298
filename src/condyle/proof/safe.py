"""Small parts: which parts of a kit a small child could choke on, and the words that go with every kit.

The gauge is that of 16 CFR 1501.4: a cylinder 31.7 mm wide whose floor rises from 57.1 to 25.4 mm below the rim (the
rule's figure in inches governs: 1.25 wide, 2.25 and 1.00 deep; the depths from memory). The rule asks it of articles for
children under three; a display model is none, and is told all the same, since homes have children.
"""

from __future__ import annotations

from collections.abc import Mapping

from condyle.finding import Finding
from condyle.geometry.cylinder_fit import Cylinder, fit_in_cylinder
from condyle.geometry.mesh import FloatArray

SMALL_PARTS = Cylinder(1.25 * 25.4, 1.00 * 25.4, 2.25 * 25.4)

WORDS = (
    "A display model, not a toy. Keep it from children under three: small parts, snap parts come off, and pieces of a "
    "broken part count too. Follow local rules."
)


def small_parts(bodies: Mapping[str, FloatArray]) -> tuple[Finding, ...]:
    """One finding for each body (name to vertices (n, 3), mm): a caution where it fits the cylinder, else a pass.

    ``measured`` is by how much it would stick out of the cylinder at best, 0 where it fits.
    """
    out = []
    for name, vertices in bodies.items():
        found = fit_in_cylinder(vertices, SMALL_PARTS)
        if found.fits:
            out.append(
                Finding(
                    "safe.small_part",
                    name,
                    "caution",
                    0.0,
                    0.0,
                    "mm",
                    advice=f"fits the test cylinder for small parts, 31.7 mm across. {WORDS}",
                )
            )
        else:
            out.append(Finding("safe.small_part", name, "pass", -found.slack_mm, 0.0, "mm"))
    return tuple(out)
