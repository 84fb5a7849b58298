"""Meshes light enough for the screen: the same nodes and names as figure.glb, fewer triangles, bounded deviation."""

from __future__ import annotations

from condyle.export.glb import figure_glb
from condyle.export.kit_files import joint_nodes
from condyle.figure.kit import Kit
from condyle.geometry.mesh import Mesh
from condyle.geometry.solid import Solid, solid_from_mesh

LOOSE_MM = (0.03, 0.06, 0.12, 0.25)
"""Tolerances tried in turn; the last stands for at most a pixel or two of a figure that fills a screen."""

PART_TRIANGLES = 3_000

FIGURE_TRIANGLES, SCULPT_TRIANGLES = 45_000, 45_000


def figure_scene(kit: Kit) -> bytes:
    """The kit as a light GLB, joints and parts named as in figure.glb."""
    total = sum(p.solid.triangle_count for p in kit.parts)
    share = FIGURE_TRIANGLES / max(total, 1)
    parts = [(p.name, _light(p.solid, max(1_200, int(share * p.solid.triangle_count)))) for p in kit.parts]
    joints = [node for joint in kit.joints if joint.built for node in joint_nodes(joint)]
    return figure_glb(parts, joints)


def sculpt_scene(mesh: Mesh) -> bytes:
    """The cleaned sculpt as a light GLB of one part named ``sculpt``."""
    return figure_glb([("sculpt", _light(solid_from_mesh(mesh, "sculpt"), SCULPT_TRIANGLES))], [])


def light_mesh(solid: Solid) -> Mesh:
    """One part for the screen, quickly: for parts that are cut again while a hand waits."""
    for tolerance in LOOSE_MM[1::2]:
        if solid.triangle_count <= PART_TRIANGLES:
            break
        solid = solid.simplified(tolerance)
    return solid.mesh


def _light(solid: Solid, triangles: int) -> Mesh:
    """At most about so many triangles, or what the last tolerance leaves."""
    for tolerance in LOOSE_MM:
        if solid.triangle_count <= triangles:
            break
        solid = solid.simplified(tolerance)
    return solid.mesh
