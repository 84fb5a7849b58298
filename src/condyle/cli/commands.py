"""The commands. Everything heavy is imported inside them, so that help comes at once."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter, Token
from cyclopts.validators import Number

from condyle.errors import UsageError

if TYPE_CHECKING:
    from condyle.project.pipeline import Result
    from condyle.project.start import Started
    from condyle.project.watch import StepTime

SOUND, FOUND = 0, 1

Axis = Literal["x", "y", "z", "+x", "+y", "+z", "-x", "-y", "-z"]
Unit = Literal["micron", "millimeter", "centimeter", "inch", "foot", "meter", "um", "mm", "cm", "in", "ft", "m"]
FailOn = Annotated[Literal["fail", "caution"], Parameter(help="The verdict from which the exit code is 1.")]
Json = Annotated[bool, Parameter(name="--json", negative=(), help="The whole of proof.json on standard output, alone.")]
Every = Annotated[bool, Parameter(name="--every", negative=(), help="Show what passed as well.")]


def figure_file(path: Path) -> Path:
    """The figure file that is meant: a folder stands for the figure.toml in it."""
    return path / "figure.toml" if path.is_dir() else path


def _as_figure_file(_: type, tokens: Sequence[Token]) -> Path:
    return figure_file(Path(tokens[0].value))


FigurePath = Annotated[
    Path, Parameter(help="The figure file, or its folder: FOLDER/figure.toml.", converter=_as_figure_file)
]


def start(
    sculpt: Annotated[Path, Parameter(help="A mesh file: STL, OBJ, PLY, GLB, glTF or 3MF.")],
    /,
    *,
    out: Annotated[Path, Parameter(help="The folder for the figure file.")],
    height: Annotated[float, Parameter(help="How tall the figure shall be, soles to crown, in mm.")],
    skeleton: Annotated[str, Parameter(help="upright, fourfoot, or a skeleton file.")] = "upright",
    up: Annotated[Axis | None, Parameter(help="The axis of the input that points up; else found.")] = None,
    facing: Annotated[Axis | None, Parameter(help="The axis that the figure faces (--facing=-y); else found.")] = None,
    unit: Annotated[Unit | None, Parameter(help="The unit of the input; else the file's own, or found.")] = None,
    name: Annotated[str | None, Parameter(help="The figure's name; else that of the sculpt's file.")] = None,
    printer: Annotated[str, Parameter(help="A printer card, or a file of yours.")] = "filament-200",
    material: Annotated[str, Parameter(help="A material card, or a file of yours.")] = "pla",
    fits: Annotated[Path | None, Parameter(help="What your own coupons gave.")] = None,
    replace: Annotated[bool, Parameter(negative=(), help="Write over a figure file that stands there.")] = False,
) -> int:
    """Find a skeleton's joints in a sculpt and write the figure file, to look at and to edit."""
    from condyle.cli.early import look_at_sculpts

    look_at_sculpts([sculpt])
    from condyle.cli.screen import Steps
    from condyle.project.start import Begin
    from condyle.project.start import start as begin

    wanted = Begin(
        sculpt, out, height, skeleton, up, facing, unit, name, printer, material, fits, replace=replace
    )  # fmt: skip
    with Steps(4) as watch:
        started = begin(wanted, watch)
    _show_started(started)
    return SOUND


def seat(figure: FigurePath, /) -> int:
    """Find the joints again whose source is "seated"; those that you set by hand stay where they are."""
    from condyle.cli.early import look_at_figure

    look_at_figure(figure)
    from condyle.cli.screen import Steps
    from condyle.project.start import seat_again

    with Steps(4) as watch:
        started = seat_again(figure, watch)
    _show_started(started)
    return SOUND


def prove(figure: FigurePath, /, *, json: Json = False, fail_on: FailOn = "fail", every: Every = False) -> int:
    """Part the sculpt and measure whether the joints fit, hold and move. Writes no kit."""
    from condyle.cli.early import look_at_figure

    look_at_figure(figure)
    from condyle.cli.screen import Steps
    from condyle.project.pipeline import prove_figure

    with Steps(12) as watch:
        result = prove_figure(figure, watch)
    return _show_result(result, json=json, fail_on=fail_on, every=every)


def make(
    *figures: Annotated[Path, Parameter(help="The figure file, such as FOLDER/figure.toml; or several of them.")],
    out: Annotated[
        Path, Parameter(help="The kit's folder; an older kit there is replaced whole. Of several: OUT/FOLDER for each.")
    ],
    workers: Annotated[
        int | None,
        Parameter(help="How many figures at once; else what cores and memory allow.", validator=Number(gte=1)),
    ] = None,
    cluster: Annotated[str | None, Parameter(help="The address of a running dask scheduler, to work there.")] = None,
    json: Json = False,
    fail_on: FailOn = "fail",
    every: Every = False,
) -> int:
    """Part the sculpt, prove it, and write the kit: parts, 3MF, GLB and proof.json. Several figures: a kit for each."""
    if not figures:
        raise UsageError("make.no_figure", "no figure file was named", hint="condyle make FOLDER/figure.toml --out KIT")
    if len(figures) > 1 or workers or cluster:
        from condyle.cli.many import make_many

        return make_many(figures, out, workers=workers, cluster=cluster, as_json=json, fail_on=fail_on)
    from condyle.cli.early import look_at_figure

    look_at_figure(figures[0])
    from condyle.cli.screen import Steps
    from condyle.project.pipeline import make_kit

    with Steps(14) as watch:
        result = make_kit(figure_file(figures[0]), out, watch)
    code = _show_result(result, json=json, fail_on=fail_on, every=every)
    if not json:
        _show_kit(result, out)
    return code


def demo(
    *,
    out: Annotated[Path, Parameter(help="A folder for the sculpt, its figure file and the kit.")],
    triangles: Annotated[int, Parameter(help="How fine the sculpt is, about.")] = 300_000,
    fail_on: FailOn = "fail",
) -> int:
    """Make the harbour diver from nothing: sculpt, figure file, kit and proof, with the seconds of each step."""
    from condyle.cli.demo import run_demo

    result, times = run_demo(out, triangles)
    code = _show_result(result, json=False, fail_on=fail_on, every=False)
    _show_kit(result, out / "kit")
    _show_times(times)
    _show_way_in(out)
    return code


def selfcheck(
    *,
    json: Annotated[bool, Parameter(name="--json", negative=(), help="The checks as JSON on standard output.")] = False,
) -> int:
    """Compute published worked examples, build and prove a small kit, and say whether this installation is sound."""
    from condyle.cli.selfcheck import run_selfcheck

    return SOUND if run_selfcheck(as_json=json) else FOUND


def _show_way_in(out: Path) -> None:
    """How to open the atlas on what was made, by the command that was called."""
    import sys
    from importlib import resources

    from condyle.cli.screen import to_screen

    called = sys.argv[0] if Path(sys.argv[0]).name == "condyle" else "condyle"
    words = f"Open it in the browser with: {called} atlas {out}"
    if not (resources.files("condyle.atlas") / "page" / "index.html").is_file():
        words += " (in a working copy first, once: make page)"
    to_screen().print(words, markup=False, soft_wrap=True)


def _show_started(started: Started) -> None:
    from condyle.cli.screen import findings_table, tally, to_screen

    screen = to_screen()
    report = started.intake.report
    for change in report.changes:
        screen.print(f"  {change}", markup=False, soft_wrap=True)
    loud = [f for f in started.findings if f.verdict != "pass"]
    if loud:
        screen.print(findings_table(loud, [j.name for j in started.joints], {}, everything=True))
    screen.print(
        f"{started.path}: {len(started.joints)} joints; {tally(started.findings)}", markup=False, soft_wrap=True
    )
    if started.missing:
        screen.print(f"  not found: {', '.join(started.missing)}; place them by hand in the file", markup=False)
    screen.print(f"Next: look through it, then: condyle make {started.path} --out KIT", markup=False, soft_wrap=True)


def _show_result(result: Result, *, json: bool, fail_on: Literal["fail", "caution"], every: bool) -> int:
    from condyle.finding import at_or_above
    from condyle.project.proof_json import document_bytes

    code = FOUND if at_or_above(result.findings, fail_on) else SOUND
    if json:
        sys.stdout.write(document_bytes(result.document).decode())
        sys.stdout.flush()
        return code
    from condyle.cli.screen import findings_table, tally, to_screen

    screen = to_screen()
    joints = [j.name for j in result.kit.joints]
    pairs = {frozenset((j.seated.spec.parent, j.seated.spec.child)): j.name for j in result.kit.joints}
    table = findings_table(result.findings, joints, pairs, everything=every)
    if table.row_count:
        screen.print(table)
    built = sum(j.built for j in result.kit.joints)
    screen.print(f"{len(result.kit.parts)} parts, {built} of {len(joints)} joints built; {tally(result.findings)}")
    from condyle.cli.guesses import guess_line

    if guess := guess_line(result.document["joints"], result.opened.workshop):
        screen.print(guess, markup=False, soft_wrap=True)
    return code


def _show_kit(result: Result, out: Path) -> None:
    from condyle.cli.screen import to_screen

    screen = to_screen()
    screen.print(
        f"Kit in {out}: parts/, builds/, kit.3mf, figure.glb, book.pdf, proof.json, details/",
        markup=False,
        soft_wrap=True,
    )
    screen.print("Small parts: not for children under three. Mind the dust when you sand, and your local rules.")


def _show_times(times: list[StepTime]) -> None:
    from condyle.cli.screen import PHRASES, to_screen

    screen = to_screen()
    for time in times:
        screen.print(f"  {PHRASES.get(time.step, time.step):<45}{time.seconds:7.1f} s")
    screen.print(f"  {'all':<45}{sum(t.seconds for t in times):7.1f} s")
