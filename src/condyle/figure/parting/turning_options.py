"""Plans for swivels and fixed pegs that fit a joint's place: both sit on a plane cut."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from itertools import product

from condyle.figure.parting.asked import (
    HAND_N,
    SLIDES_MM,
    clearance_of,
    low_lip,
    names_of,
    sides,
    sizes,
    slid,
    suits,
)
from condyle.figure.parting.plan import Half, Lack, Plan, lack
from condyle.figure.parting.site import Site
from condyle.figure.skeleton import SeatedJoint
from condyle.figure.wishes import JointWish
from condyle.joints import ball, peg, swivel
from condyle.joints.design import Cut
from condyle.joints.stock import Stock
from condyle.workshop.fits import Fits

_STURDY_MM = 4.0

_OF_LIMB = 0.6
"""Stud over the limb's radius that a swivel is made for: jaws and their room take as much again, and balls want the limb's
depth beside it."""

_GIVES: Mapping[swivel.Gives, float] = {"firm": 0.0, "light": 1.0, "split": 7.0}
"""How much is disliked what gives way: a split stud as three for each halving of what a finger may do to it."""


@lru_cache(maxsize=1024)
def _swivel_shape(
    size: float, clearance: float, stock: Stock, reach: float, gives: swivel.Gives
) -> swivel.SwivelShape | None:
    return swivel.shape(size, clearance, stock, reach, gives)


def thin_post(size_mm: float) -> float:
    """How much a swivel is disliked whose post a finger breaks off: three for each halving of its strength below 4 mm.

    A round post bears in proportion to the cube of its diameter (bending of a round section: Shigley, Mechanical
    Engineering Design, from memory). 4 mm is a choice: posts of 2.5 mm at the diver's biceps bore 0.3 of the finger's load
    (``last.finger``, 2 wanted), which makes about 1.3 at 4 mm; whether a chosen post is enough the proof tells. A split
    stud comes on top (``_GIVES``): one half of it bears a fifth of a whole one.
    """
    return max(0.0, 9.0 * math.log2(_STURDY_MM / size_mm))


def swivels(
    site: Site,
    joint: SeatedJoint,
    wish: JointWish,
    fits: Fits,
    kerf: float,
    most: Mapping[str, float],
    stock: Stock,
) -> tuple[list[Plan], list[Lack]]:
    """Swivels turn about the limb itself, so a found one may also slide along it to where its neighbours leave room."""
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    cut = Cut("plane", 0.0, kerf)
    slides = SLIDES_MM if joint.source == "seated" else (0.0,)
    for slide in slides:
        there = Site.seeing(site, slide)
        ideal = _OF_LIMB * there.at(0.0).inradius_mm
        placed = slid(joint, site, slide)
        for side in sides(wish, joint):
            seen = there.seen_from(side)
            cup, knuckle = names_of(side)
            for size in sizes(swivel.SIZES_MM, wish, joint):
                clearance = clearance_of(wish, fits, "swivel", size)
                jawed: set[float] = set()
                for gives, reach in product(swivel.GIVES, swivel.REACHES):
                    shape = _swivel_shape(size, clearance, stock, reach, gives)
                    # What bends more than it has to is no choice where firmer forms of the same length, or size, find room.
                    if shape is None or (reach in jawed if gives == "light" else gives == "split" and jawed):
                        continue
                    needs = swivel.needs(shape, cut, stock)
                    missing, z = lack(seen, needs)
                    if missing > flare:
                        lacks.append(Lack(size, missing, z))
                        continue
                    jawed.add(reach)
                    half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
                    liking = (
                        suits(size, ideal, 0.4)
                        - 0.1 * (not side)
                        - 0.3 * abs(slide)
                        - 0.8 * abs(1.5 - reach)
                        - 0.5 * low_lip(shape.undercut)
                        - 3.0
                        * (swivel.push_n(shape, stock) > HAND_N or swivel.pull_n(shape, stock) < ball.LEAST_PULL_N)
                        - thin_post(size)
                        - _GIVES[gives]
                    )
                    variant = (size, reach, side, slide, gives)
                    plans.append(
                        Plan(placed, "swivel", size, clearance, (half,), liking, "", min(flare, missing), 0.0, variant)
                    )
    return plans, lacks


def pegs(
    site: Site, joint: SeatedJoint, wish: JointWish, fits: Fits, kerf: float, most: Mapping[str, float], stock: Stock
) -> tuple[list[Plan], list[Lack]]:
    plans: list[Plan] = []
    lacks: list[Lack] = []
    flare = wish.flare_mm or 0.0
    cut = Cut("plane", 0.0, kerf)
    for side in sides(wish, joint):
        seen = site.seen_from(side)
        for size in sizes(peg.SIZES_MM, wish, joint):
            shape = peg.shape(size)
            needs = peg.needs(shape, cut, stock)
            missing, z = lack(seen, needs)
            if missing > flare:
                lacks.append(Lack(size, missing, z))
                continue
            cup, knuckle = names_of(side)
            half = Half(seen, seen.frame, cup, knuckle, shape, cut, needs)
            clearance = clearance_of(wish, fits, "peg", size)
            liking = suits(size, 0.9 * seen.inradius_mm(0.0))
            plans.append(
                Plan(
                    joint,
                    "peg",
                    size,
                    clearance,
                    (half,),
                    liking,
                    "",
                    min(flare, missing),
                    0.0,
                    (size, side),
                )
            )
    return plans, lacks
