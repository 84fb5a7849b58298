"""The command that turns a skeleton into a lay figure, or into a guide to sculpt around."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from condyle.cli.commands import FOUND, SOUND, Every, FailOn, Json, _show_kit, _show_result


def layfigure(
    skeleton: Annotated[str, Parameter(help="upright, fourfoot, or a skeleton file.")] = "upright",
    /,
    *,
    out: Annotated[Path, Parameter(help="A folder for the figure file and the kit, or for the guide.")],
    height: Annotated[float | None, Parameter(help="Soles to crown in mm; else the skeleton's own.")] = None,
    limb: Annotated[str | None, Parameter(help="Only this joint, bone or limb (arm_left) and all beyond it.")] = None,
    joint: Annotated[
        list[str] | None, Parameter(help="Only this joint; give it again for a neighbour.", negative=())
    ] = None,
    guide: Annotated[bool, Parameter(negative=(), help="Write the sculptor's guide instead of a kit.")] = False,
    printer: Annotated[str, Parameter(help="A printer card, or a file of yours.")] = "filament-200",
    material: Annotated[str, Parameter(help="A material card, or a file of yours.")] = "pla",
    fits: Annotated[Path | None, Parameter(help="What your own coupons gave.")] = None,
    json: Json = False,
    fail_on: FailOn = "fail",
    every: Every = False,
) -> int:
    """Turn a skeleton into its lay figure, to try its joints in print before a sculpt exists; or into a guide."""
    from condyle.cli.early import look_at_skeleton, look_at_workshop

    look_at_skeleton(skeleton)
    look_at_workshop(printer, material, fits)
    from condyle.cli.screen import Steps, to_screen
    from condyle.errors import UsageError
    from condyle.project.layfigure import Turned, make_guide, make_lay_figure

    if limb and joint:
        raise UsageError("layfigure.both", "--limb and --joint ask for two things", hint="give one of them")
    wanted = Turned(skeleton, out, height, limb, tuple(joint or ()), printer, material, fits)
    if guide:
        with Steps(4) as watch:
            made = make_guide(wanted, watch)
        screen = to_screen()
        screen.print(
            f"Guide in {out}: guide.glb, guide.obj, guide-*.stl; {len(made.joints)} joints",
            markup=False,
            soft_wrap=True,
        )
        if made.refused:
            screen.print(f"  no room for: {', '.join(made.refused)}; make the limb thicker there", markup=False)
        screen.print(
            f"Next: sculpt around it at true size, save as {out / 'sculpt.stl'}, then: "
            f"condyle make {out / 'figure.toml'} --out KIT",
            markup=False,
            soft_wrap=True,
        )
        return FOUND if made.refused else SOUND
    with Steps(9) as watch:
        turned = make_lay_figure(wanted, watch)
    code = _show_result(turned.result, json=json, fail_on=fail_on, every=every)
    if not json:
        screen = to_screen()
        if turned.same:
            screen.print(
                f"New: {', '.join(turned.changed) or 'none'}. The same to the byte, with no need of a new print: "
                f"{len(turned.same)} of {len(turned.same) + len(turned.changed)} parts",
                markup=False,
                soft_wrap=True,
            )
        _show_kit(turned.result, out / "kit")
    return code
