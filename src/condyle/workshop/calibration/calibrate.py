"""All that a history of coupons tells: fits, printer errors, friction. A function of the history and the starting guesses."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from condyle.workshop.calibration.feel import FitResult, calibrate_fit
from condyle.workshop.calibration.readings import (
    first_layer_spread,
    mean_error,
    size_of_error,
    smallest_wall,
    sound_strain,
)
from condyle.workshop.calibration.records import (
    Conditions,
    FrictionRecord,
    LadderRecord,
    Record,
    StepsRecord,
    StrainRecord,
    WallsRecord,
)
from condyle.workshop.calibration.torque import friction_of, kept_share, thirty_days_from_one
from condyle.workshop.card import Process
from condyle.workshop.fits import Z90, Fit, FitKind, Fits
from condyle.workshop.material import Material
from condyle.workshop.values import Measured

NEIGHBOUR_MM = 0.02
"""How much the right clearance of another size of the same family may differ beyond their common shift (1 sd). Ours."""

REPEATED_SHARE = 0.6
"""Strain that a snap takes many times, over what it takes once (snap-fit guides, from memory)."""


@dataclass(frozen=True, eq=False)
class Calibration:
    """What the coupons tell.

    fits         one result for each family and size that was felt, under the conditions of its newest ladder; what was felt
                 under others stands in its fit's ``also``
    neighbours   first guesses for the other sizes of these families: the starter fits, shifted as the felt sizes were
    printer      printer errors by the names of the printer's card
    materials    by material: numbers of its card that were measured
    notes        what the maker should know
    """

    fits: tuple[FitResult, ...]
    neighbours: Mapping[str, Mapping[float | None, Fit]]
    printer: Mapping[str, Measured]
    materials: Mapping[str, Mapping[str, Measured]]
    notes: tuple[str, ...]


def calibrate(
    history: Sequence[Record],
    process: Process,
    before: Mapping[str, Measured],
    starter: Fits,
    materials: Mapping[str, Material],
) -> Calibration:
    """Everything from all records, oldest first.

    before      what the printer was taken for before its first coupon (see ``printer.CALIBRATED``)
    starter     fits before its first coupon
    materials   the cards of the materials in the history, by name

    Raises InputError ``calibration.reversed`` for a ladder whose answers run the wrong way, ``calibration.mixed`` for one
    whose answers follow no order.
    """
    records = in_force(history)
    ladders = _by_size([r for r in records if isinstance(r, LadderRecord)])
    alone = {
        key: [calibrate_fit(rs, c, starter.get(*key), process) for c in conditions_of(rs)]
        for key, rs in ladders.items()
    }
    results, every = [], []
    for key, rs in ladders.items():
        own = []
        for first in alone[key]:
            others = _alike(alone, key[0], first.conditions, but=key)
            start = shifted(starter.get(*key), others, starter)
            own.append(calibrate_fit(rs, first.conditions, start, process) if others else first)
        newest, *older = own
        results.append(replace(newest, fit=replace(newest.fit, also=tuple(r.fit for r in older))))
        every += own
    printer = _printer_errors(records, before)
    told: dict[str, dict[str, Measured]] = {}
    notes: list[str] = []
    for name, card in materials.items():
        mine = [r for r in records if r.material == name]
        found, words = _material(mine, card, {**before, **printer})
        if found:
            told[name] = found
        notes += words
    return Calibration(tuple(results), _neighbours(every, starter), printer, told, tuple(notes))


def in_force(history: Sequence[Record]) -> list[Record]:
    """The history with each plate's later answers in place of its earlier ones, in the order of their first answers."""
    latest: dict[object, Record] = {}
    for number, record in enumerate(history):
        latest[_plate(record) if record.coupon else number] = record
    return list(latest.values())


def _plate(r: Record) -> tuple[object, ...]:
    """What tells one answered thing from another."""
    more: tuple[object, ...] = ()
    if isinstance(r, LadderRecord):
        more = (r.family, r.size_mm)
    elif isinstance(r, StrainRecord):
        more = (r.way,)
    elif isinstance(r, FrictionRecord):
        more = (r.size_mm, r.mark, r.when)
    return (r.coupon, r.print_, r.what, *more)


def same_plate(a: Record, b: Record) -> bool:
    """Whether both are answers about the same printed thing."""
    return bool(a.coupon) and _plate(a) == _plate(b)


def _by_size(records: Sequence[LadderRecord]) -> dict[tuple[FitKind, float], list[LadderRecord]]:
    groups: dict[tuple[FitKind, float], list[LadderRecord]] = {}
    for r in records:
        groups.setdefault((r.family, r.size_mm), []).append(r)
    return dict(sorted(groups.items()))


def conditions_of(records: Sequence[LadderRecord]) -> list[Conditions]:
    """All conditions under which ladders were felt, those of the newest first."""
    return list({r.conditions.model_dump_json(): r.conditions for r in reversed(records)}.values())


def _alike(
    found: Mapping[tuple[FitKind, float], Sequence[FitResult]], family: str, under: Conditions, but: tuple[str, float]
) -> list[FitResult]:
    """What other sizes of a family told under the same conditions."""
    return [r for k, rs in found.items() for r in rs if k[0] == family and k != but and r.conditions == under]


def shifted(start: Fit, others: Sequence[FitResult], starter: Fits) -> Fit:
    """A starter fit moved by what other sizes of its family were off, as sure as they make it.

    Normals: each other size tells of one common shift, give or take its own sd and ``NEIGHBOUR_MM``.
    """
    if not others:
        return start
    weight, pull = 1.0 / max(start.sd_mm, 0.01) ** 2, 0.0
    for other in others:
        own = 1.0 / (other.posterior.middle_sd_mm**2 + NEIGHBOUR_MM**2)
        weight += own
        pull += own * (other.posterior.middle_mm - starter.get(other.family, other.size_mm).clearance_mm)
    sd = math.sqrt(1.0 / weight + NEIGHBOUR_MM**2)
    value = round(start.clearance_mm + pull / weight, 3)
    sizes = ", ".join(f"{o.size_mm:g}" for o in others)
    source = f"prior: moved as {others[0].family} {sizes} mm measured here; measure this size itself"
    there = others[0].conditions
    return replace(
        start, clearance_mm=value, low_mm=round(value - Z90 * sd, 3), high_mm=round(value + Z90 * sd, 3), n=0,
        source=source, sd_mm=round(sd, 4), material=there.material, build=there.build, supports=there.supports,
        cure=there.cure,
    )  # fmt: skip


def _neighbours(results: Sequence[FitResult], starter: Fits) -> dict[str, dict[float | None, Fit]]:
    """First guesses for the sizes that were never felt, one for each set of conditions under which others were."""
    out: dict[str, dict[float | None, Fit]] = {}
    for family in sorted({r.family for r in results if r.fit.n > 0}):
        felt = [r for r in results if r.family == family and r.fit.n > 0]
        sizes = {r.size_mm for r in felt}
        last = next(r for r in felt if r.size_mm == felt[-1].size_mm)  # its newest
        under = {r.conditions.model_dump_json(): r.conditions for r in (last, *felt)}.values()
        alike = [[r for r in felt if r.conditions == c] for c in under]
        out[family] = {}
        for size, fit in starter.by_kind[family].items():
            if size not in sizes:
                first, *others = (shifted(fit, same, starter) for same in alike)
                out[family][size] = replace(first, also=tuple(others))
    return out


def _printer_errors(records: Sequence[Record], before: Mapping[str, Measured]) -> dict[str, Measured]:
    found: dict[str, Measured] = {}
    pairs: dict[str, list[float]] = {name: [] for name in ("holes_mm", "shafts_mm", "lengths_mm", "heights_mm")}
    dates: dict[str, str] = {}
    for r in records:
        for name, errors in pairs.items():
            read = getattr(r, name, None)
            if read:
                errors += [b - a for a, b in read]
                dates[name] = r.date
        if isinstance(r, StepsRecord) and r.foot_mm is not None and r.above_mm is not None:
            start = found.get("first_layer_spread_mm", before["first_layer_spread_mm"])
            found["first_layer_spread_mm"] = first_layer_spread(r.foot_mm, r.above_mm, start, r.date)
    for name, key in (("holes_mm", "hole_error_mm"), ("shafts_mm", "shaft_error_mm")):
        if pairs[name]:
            found[key] = mean_error(pairs[name], before[key], dates[name])[0]
    for name, key in (("lengths_mm", "xy_error_mm"), ("heights_mm", "z_error_mm")):
        if pairs[name]:
            found[key] = size_of_error(pairs[name], before[key], dates[name])
    walls = [r for r in records if isinstance(r, WallsRecord)]
    if walls:
        thick = [w for r in walls for w in r.walls_mm]
        whole = [s == "whole" for r in walls for s in r.stood]
        found["min_feature_mm"] = smallest_wall(thick, whole, before["min_feature_mm"], walls[-1].date)
    return found


def _material(
    records: Sequence[Record], card: Material, printer: Mapping[str, Measured]
) -> tuple[dict[str, Measured], list[str]]:
    found: dict[str, Measured] = {}
    notes: list[str] = []
    halves: dict[str, Measured] = {}
    for way in ("along", "across"):
        bent = [r for r in records if isinstance(r, StrainRecord) and r.way == way]
        if not bent:
            continue
        strain, sound = [e for r in bent for e in r.strain], [b == "sound" for r in bent for b in r.bent]
        guess = card.strain_once.value * (1.0 if way == "along" else card.across_layers.value)
        safe, halves[way] = sound_strain(strain, sound, guess, bent[-1].date)
        if way == "along":
            found["strain_once"] = safe
            found["strain_repeated"] = Measured(
                round(REPEATED_SHARE * safe.value, 5),
                round(REPEATED_SHARE * safe.sd, 5),
                f"0.6 of strain_once; {safe.source}",
            )
    if len(halves) == 2:
        ratio = halves["across"].value / halves["along"].value
        sd = ratio * math.hypot(*(m.sd / m.value for m in halves.values()))
        found["across_layers"] = Measured(round(min(max(ratio, 0.01), 1.2), 3), round(sd, 3), halves["across"].source)
    beams = [r for r in records if isinstance(r, FrictionRecord)]
    fresh = [r for r in beams if r.when == "new"]
    if fresh:
        hole, shaft = printer["hole_error_mm"], printer["shaft_error_mm"]
        eaten = 0.5 * (shaft.value - hole.value), max(0.5 * math.hypot(shaft.sd, hole.sd), 0.015)
        found["friction"], _, odd = friction_of(fresh, card.friction, eaten, fresh[-1].date)
        notes += [
            f"friction: socket {mark} does not go with the others, or with the card: were the masses in g?"
            for mark in odd
        ]
        if len({r.drawn_mm for r in fresh}) < 2:
            notes.append(
                "friction: only one clearance was hung; a second one would tell friction from the printer's error"
            )
    date = beams[-1].date if beams else ""
    for when, name in (("after 50 movements", "kept_50_moves"), ("after 30 days", "kept_30_days")):
        share = kept_share(beams, when, getattr(card, name), date)  # type: ignore[arg-type]
        if share is not None:
            found[name] = share
    if "kept_30_days" not in found:
        start = Measured(0.85, 0.12, "prior: no source")
        day = kept_share(beams, "after 24 h", start, date)
        if day is not None:
            found["kept_30_days"] = thirty_days_from_one(day)
    return found, notes
