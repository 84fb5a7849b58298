"""Families of bodies that cross themselves and each other, drawn at random; every shell is made facing outwards."""

from __future__ import annotations

import numpy as np

from condyle.geometry.mesh import Mesh
from tests.geometry.repair.mend_bodies import ball, block


def blob(dice: np.random.Generator, radius: float, at: np.ndarray, subdivisions: int = 3) -> Mesh:
    """A lumpy star-shaped body."""
    made = ball(1.0, subdivisions=subdivisions)
    size = np.ones(len(made.vertices))
    for _ in range(4):
        way = dice.normal(size=3)
        size += 0.25 * dice.random() * np.sin(3.0 * made.vertices @ way + dice.random() * 6.0)
    return Mesh(made.vertices * (radius * size)[:, None] + at, made.faces)


def turned(mesh: Mesh, dice: np.random.Generator, at: np.ndarray) -> Mesh:
    """Under a random rotation about its origin, then moved."""
    q, r = np.linalg.qr(dice.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] = -q[:, 0]
    return Mesh(mesh.vertices @ q.T + at, mesh.faces)


def tube(path: np.ndarray, radius: np.ndarray, sides: int = 16) -> Mesh:
    """A closed tube with flat ends along points (n, 3), each ring carried on without twist."""
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    side = np.cross(along[0], [0.3, 0.5, 0.8])
    turn = 2.0 * np.pi * np.arange(sides) / sides
    rings = []
    for p, d, r in zip(path, along, radius, strict=True):
        side = side - d * (side @ d)
        side /= np.linalg.norm(side)
        up = np.cross(d, side)
        rings.append(p + r * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up))
    vertices = np.concatenate([*rings, path[:1], path[-1:]])
    faces, n = [], len(path)
    for i in range(n - 1):
        for k in range(sides):
            a, b = i * sides + k, i * sides + (k + 1) % sides
            faces += [(a, b, b + sides), (a, b + sides, a + sides)]
    first, last, top = n * sides, n * sides + 1, (n - 1) * sides
    faces += [(first, (k + 1) % sides, k) for k in range(sides)]
    faces += [(last, top + k, top + (k + 1) % sides) for k in range(sides)]
    mesh = Mesh(vertices, np.array(faces))
    return mesh if mesh.volume_mm3 > 0 else Mesh(vertices, np.array(faces)[:, ::-1])


def crossing_tube(dice: np.random.Generator) -> list[Mesh]:
    """One shell: a tube along a smooth random way that comes back through itself."""
    t = np.linspace(0.0, 2.0 * np.pi, 90)
    ways = [sum(dice.normal() * np.sin(k * t + dice.random() * 6.0) / k for k in (1, 2, 3)) for _ in range(3)]
    path = 22.0 * np.stack([ways[0], ways[1], 0.25 * ways[2]], axis=1)
    return [tube(path, 3.0 + np.sin(3.0 * t + dice.random()) * 0.8)]


def spindle(dice: np.random.Generator) -> list[Mesh]:
    """One shell: a torus whose tube is thicker than its ring, so that it covers its middle twice."""
    ring, thick, n, m = 8.0 + 4.0 * dice.random(), 13.0 + 3.0 * dice.random(), 32, 24
    u, v = np.meshgrid(2 * np.pi * np.arange(n) / n, 2 * np.pi * (np.arange(m) + 0.37) / m, indexing="ij")
    out = ring + thick * np.cos(v)
    vertices = np.stack([out * np.cos(u), out * np.sin(u), thick * np.sin(v)], axis=-1).reshape(-1, 3)
    i, j = (x.ravel() for x in np.meshgrid(np.arange(n), np.arange(m), indexing="ij"))
    a, b, c, d = i * m + j, (i + 1) % n * m + j, (i + 1) % n * m + (j + 1) % m, i * m + (j + 1) % m
    return [turned(Mesh(vertices, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])), dice, np.zeros(3))]


def heap(dice: np.random.Generator) -> list[Mesh]:
    """Five to nine lumps that overlap."""
    return [blob(dice, 8.0 + 6.0 * dice.random(), dice.normal(size=3) * 9.0) for _ in range(dice.integers(5, 10))]


def armour(dice: np.random.Generator) -> list[Mesh]:
    """A lump under twelve to twenty-four plates, each a shell of its own that dips into it and into its neighbours."""
    body = blob(dice, 18.0, np.zeros(3), 4)
    plates = []
    for _ in range(dice.integers(12, 25)):
        way = dice.normal(size=3)
        way /= np.linalg.norm(way)
        size = (6.0 + 8.0 * dice.random(), 6.0 + 8.0 * dice.random(), 1.0 + 2.0 * dice.random())
        plates.append(turned(block(size, cuts=1), dice, way * (16.0 + 3.0 * dice.random())))
    return [body, *plates]


def doubled(dice: np.random.Generator) -> list[Mesh]:
    """A heap with some of its lumps there twice: the same again, a hair larger, or smaller inside."""
    lumps = heap(dice)
    for mesh in list(lumps)[:4]:
        middle = mesh.vertices.mean(axis=0)
        grown = float(dice.choice([1.0, 1.0 + 1e-4, 0.98]))
        lumps.append(Mesh((mesh.vertices - middle) * grown + middle, mesh.faces))
    return lumps


FAMILIES = {"heap": heap, "armour": armour, "doubled": doubled, "crossing tube": crossing_tube, "spindle": spindle}
