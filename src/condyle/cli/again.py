"""``condyle log FIGURE --gather KIT``: what has to be printed again, on plates of its own."""

from __future__ import annotations

from pathlib import Path


def gather_parts(figure: Path, kit: Path, parts: tuple[str, ...], *, json: bool) -> int:
    """Write the plates into the kit and say what is on them; 0."""
    from condyle.cli.log import print_json
    from condyle.cli.screen import to_screen
    from condyle.project.again import gather
    from condyle.project.bench_sheet import keep_sheet, read_sheet
    from condyle.project.record.cards import reprint_queue
    from condyle.project.record.desk import cards, check_parts
    from condyle.project.record.place import record_path

    sheet, record = read_sheet(figure), record_path(figure)
    check_parts(sheet, parts)
    names = parts or tuple(c.part for c in reprint_queue(cards(record, sheet)[0]))
    done = gather(kit, sheet, names, record)
    keep_sheet(figure, done.sheet)
    if json:
        times = [None if p.time is None else round(p.time.time_s) for p in done.plates]
        plates = [
            {"file": f"builds/{p.name}.3mf", "parts": list(p.parts), "time_s": t}
            for p, t in zip(done.plates, times, strict=True)
        ]
        print_json({"figure": sheet.figure, "plates": plates, "findings": [f.advice for f in done.findings]})
        return 0
    screen = to_screen()
    for plate in done.plates:
        took = ""
        if plate.time is not None:
            t = plate.time
            took = f", about {_hours(t.time_s)} h (nine in ten between {_hours(t.low_s)} and {_hours(t.high_s)})"
        words = f"{kit / 'builds' / plate.name}.3mf: {', '.join(plate.parts)}{took}"
        screen.print(words, markup=False, soft_wrap=True)
    if not done.plates:
        screen.print("Nothing has to be printed again.")
    for finding in done.findings:
        screen.print(f"{finding.subject}: {finding.advice}", markup=False, soft_wrap=True)
    return 0


def _hours(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"
