"""The answer sheet of a coupon as text: what was drawn, what to do, and a blank for everything that is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from condyle.workshop.card import Process

CAUTIONS: dict[Process, tuple[str, ...]] = {
    "filament": (
        "Nozzle, plate and fresh prints are hot: let them cool before you touch them.",
        "Cut pins and trim with the blade away from your hands; glasses on when wire or filament is cut.",
        "Small parts: keep them from children under three and from animals. Your local rules go first.",
    ),
    "resin": (
        "Liquid resin and the wash are harmful to skin, eyes and water: nitrile gloves, glasses, fresh air; follow the "
        "safety data sheet and your local rules for waste.",
        "Feel a joint only after it is washed and fully cured, and dry. Do not look into the curing lamp.",
        "Snapped resin is sharp: glasses on when you bend or force anything. Keep small parts from children under three "
        "and from animals.",
    ),
}
"""Common practice; local codes and the makers' data sheets go first."""

_MOVES = "goes in by hand, holds its own weight, moves without force"
_GOOD = {"peg": "goes in by hand, and does not fall out"}
_FEELS = '"falls out"  "loose"  "good"  "tight"  "will not go"  "broke"'


def head(coupon: str, printer: str, material: str, process: Process) -> str:
    """The top of a sheet, with the cautions."""
    lines = [
        "# What you felt and read on this coupon. Write between the quotes; what you leave blank is not used.",
        "# Then: condyle calibrate THIS-FILE --into my-printer.toml",
        *(f"# ! {line}" for line in _wrapped(CAUTIONS[process])),
        "schema = 1",
        f'coupon = "{coupon}"',
        "print = 1        # 2 when you print this very plate a second time, in whatever material: then both count",
        'date = ""        # the day you felt it, as 2026-11-25; blank is today',
        'unit = "mm"      # of your readings; "inch" if your calliper reads inches',
        "",
        "[printed]",
        f'printer = "{printer}"',
        f'material = "{material}"',
        'supports = "none"    # or "touching the joint"',
    ]
    if process == "resin":
        lines.append('cure = "washed and cured"    # or "washed"')
    return "\n".join(lines) + "\n"


def ladder(
    family: str, size_mm: float, build: str, drawn_mm: Sequence[float], pin_mm: tuple[float, float] | None
) -> str:
    """A clearance ladder."""
    path = f"ladder.{family}.{_key(size_mm)}"
    lines = [
        "",
        f"# {family.replace('_', ' ')}, {size_mm:g} mm. Push each stud into the socket of its number by hand, move it ten",
        f"# times, then say how it felt. good: {_GOOD.get(family, _MOVES)}.",
        f"#   {_FEELS}",
    ]
    if pin_mm is not None:
        kind = "filament" if abs(pin_mm[0] - 1.75) < 0.01 else "straight wire"
        lines.append(f"# Pins: {pin_mm[0]:g} mm {kind}, {pin_mm[1]:.1f} mm long, one for each hinge.")
    lines += [
        f"[{path}]",
        f'build = "{build}"    # as it stood on the plate; if you turned it: leaning, lying or upside down',
        f"drawn_mm = [{', '.join(f'{c:g}' for c in drawn_mm)}]    # per side; negative is interference",
        f"[{path}.felt]",
    ]
    lines += [f'{k} = ""    # drawn {c:+.3f} mm' for k, c in enumerate(drawn_mm, 1)]
    return "\n".join(lines) + "\n"


def gauge(diameters_mm: Sequence[float], lengths_mm: Sequence[float]) -> str:
    """Holes, shafts and outside lengths."""
    lines = [
        "",
        "# Gauge: read with a calliper, in mm, without pressing. Holes at their upper edge, shafts near their top,",
        "# outside lengths above the first layers. Write numbers without quotes, as  4 = 3.82",
        "[gauge.holes]",
        *(f'{_key(d)} = ""' for d in diameters_mm),
        "[gauge.shafts]",
        *(f'{_key(d)} = ""' for d in diameters_mm),
        "[gauge.lengths]",
        *(f'{_key(d)} = ""' for d in lengths_mm),
    ]
    return "\n".join(lines) + "\n"


def steps(heights_mm: Sequence[float], width_mm: float) -> str:
    """The stair."""
    lines = [
        "",
        "# Stair: height of each step over the plate's side, behind the numbers; then its width, just above the plate",
        "# and again at half height.",
        "[steps]",
        f"width_mm = {width_mm:g}    # as drawn",
        'foot = ""',
        'above = ""',
        "[steps.heights]",
        *(f'{_key(h)} = ""' for h in heights_mm),
    ]
    return "\n".join(lines) + "\n"


def walls(walls_mm: Sequence[float]) -> str:
    """Thin walls."""
    lines = [
        "",
        '# Walls: "whole", "gaps" (light or holes show), or "missing".',
        "[walls]",
        f"walls_mm = [{', '.join(f'{w:g}' for w in walls_mm)}]",
        "[walls.stood]",
        *(f'{k} = ""    # {w:g} mm' for k, w in enumerate(walls_mm, 1)),
    ]
    return "\n".join(lines) + "\n"


def strain(along: Sequence[float], across: Sequence[float]) -> str:
    """Bent tongues."""
    lines = [
        "",
        "# Tongues: glasses on. Push each tip against its stop ten times, the weakest first; stop when one breaks.",
        '# "sound" (comes back straight, no white line), "marked" (white, or stays bent), "broke".',
        "# along: the comb that lay on the plate. across: the comb that stood upright.",
    ]
    for way, values in (("along", along), ("across", across)):
        lines += [
            f"[strain.{way}]",
            f"strain = [{', '.join(f'{e:g}' for e in values)}]",
            f"[strain.{way}.bent]",
            *(f'{k} = ""    # {100 * e:.2f} %' for k, e in enumerate(values, 1)),
        ]
    return "\n".join(lines) + "\n"


def friction(
    size_mm: float,
    build: str,
    sockets: Mapping[str, float],
    holes_mm: Sequence[float],
    own_nmm: float,
    nmm_per_mm: float,
) -> str:
    """The friction beam."""
    lines = [
        "",
        "# Friction beam: stand the sockets on the table and hold the foot down. Turn the arm over, push its ball into a",
        "# socket, set it level, pointing away from the other sockets. Hang nuts or coins on a thread in one hole, gently,",
        "# more and more, until the arm sinks. Weigh them on a kitchen scale, or count equal ones and weigh ten.",
        "# hole_mm: the hole used ("
        + ", ".join(f"{h:g}" for h in holes_mm)
        + " mm from the ball); held_g: the most that stayed up;",
        "# sank_g: the first that sank (0 if the arm alone sank; then held_g stays blank).",
        "# Again after 24 hours left assembled, after 50 movements, and, if you can wait, after 30 days.",
        "[friction]",
        f"size_mm = {size_mm:g}",
        f'build = "{build}"',
        f"holes_mm = [{', '.join(f'{h:g}' for h in holes_mm)}]",
        f"own_nmm = {own_nmm:.4f}        # torque of the arm itself, printed solid",
        f"nmm_per_mm = {nmm_per_mm:.1f}    # as computed for this joint",
    ]
    for mark, drawn in sockets.items():
        lines += [f"[friction.sockets.{mark}]", f"drawn_mm = {drawn:g}"]
        for when in ("new", "after_24_h", "after_50_movements", "after_30_days"):
            lines += [f"[friction.sockets.{mark}.{when}]", 'hole_mm = ""', 'held_g = ""', 'sank_g = ""']
    return "\n".join(lines) + "\n"


def _key(value: float) -> str:
    text = f"{value:g}"
    return f'"{text}"' if "." in text else text


def _wrapped(cautions: Sequence[str]) -> list[str]:
    out: list[str] = []
    for caution in cautions:
        line = ""
        for word in caution.split():
            if len(line) + len(word) > 110:
                out.append(line)
                line = " "
            line += ("" if not line or line == " " else " ") + word
        out.append(line)
    return out
