"""The same book as one self-contained web page: pictures, style and drawings inside, no script, nothing fetched."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from html import escape

from condyle.book.matter import Arc, JointEntry, Matter, PlateEntry, ReachDrawing, StepEntry, Swatch, Table, Trouble

_STYLE = """
:root { color-scheme: light; }
body { margin: 0 auto; max-width: 62rem; padding: 2rem 1.2rem 6rem; color: #231c17; background: #fff;
  font: 17px/1.5 Georgia, 'Times New Roman', serif; }
h1, h2, h3 { font-weight: normal; line-height: 1.2; } h1 { font-size: 2.4rem; text-align: center; margin-bottom: 0; }
h2 { border-bottom: 1px solid; margin-top: 3.5rem; } h3 { font-style: italic; margin: 1.6rem 0 .4rem; }
img { max-width: 100%; } .cover { display: block; margin: 1rem auto; max-height: 80vh; } .faint { color: #6d6259; }
.mind { border-left: 3px solid #7a2f1d; padding: .3rem .8rem; } figure { margin: 0; }
.grid { display: grid; grid-template-columns: repeat(auto-fill, minmax(15rem, 1fr)); gap: 1.6rem; }
.wide { overflow-x: auto; } table { border-collapse: collapse; width: 100%; font-size: .88rem; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0; border-bottom: 1px solid #ddd5ca; }
th { font-weight: normal; color: #6d6259; } .step { position: relative; } .step svg { position: absolute; inset: 0; }
table.pairs { width: auto; } .pairs th { min-width: 9rem; }
.trouble { display: grid; grid-template-columns: 5rem 1fr; margin: .4rem 0; font-size: .92rem; }
.swatch { display: inline-block; width: 2rem; height: 1.2rem; border: 1px solid; vertical-align: middle; margin-right: .5rem; }
@media print { body { font-size: 12px; max-width: none; padding: 0; } h2 { break-before: page; } figure, tr { break-inside: avoid; } }
"""


def web_page(matter: Matter) -> bytes:
    """book.html. The same matter gives the same bytes."""
    pictures = {n: f"data:image/png;base64,{base64.b64encode(b).decode()}" for n, b in matter.pictures.items()}
    m = matter
    out = [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">',
        f"<title>{escape(m.figure)}, build book</title><style>{_STYLE}</style></head><body>",
        f'<h1>{escape(m.figure)}</h1><p class="faint" style="text-align:center">{escape(m.subtitle)}</p>',
        _image(pictures, m.cover, f"{m.figure}, seen from its front left", "cover"),
        _pairs(m.facts),
    ]
    if m.verdicts:
        head = ("question", "fail", "caution", "unknown", "pass")
        rows = tuple(
            (v.words, *(str(n) if n else "–" for n in (v.fails, v.cautions, v.unknown, v.passes))) for v in m.verdicts
        )
        out += ["<h2>At a glance</h2>", _table(Table("", head, rows))]
        if m.troubles:
            more = f" And {m.more_troubles} more." if m.more_troubles else ""
            out += ["<h3>To look at first</h3>", *(_trouble(t) for t in m.troubles)]
            out.append(
                f'<p class="faint">Where several are named, the advice is that of the one furthest off; each stands in proof.json.{more}</p>'
            )
    if m.apart:
        out += ["<h2>The kit</h2>", _image(pictures, m.apart, "all parts drawn apart")]
    if m.joints:
        out += [
            "<h2>Joints</h2>",
            "<p class=faint>Thick arcs are reached, dotted ones were wanted; degrees from the pose of the sculpt.</p>",
        ]
        out += [_joint(j) for j in m.joints]
    if m.parts:
        out += ["<h2>Parts</h2>", *_paragraphs([m.part_words] if m.part_words else []), '<div class="grid">']
        for p in m.parts:
            notes = "".join(f'<p class="faint">{escape(n)}</p>' for n in p.notes)
            shown = _image(pictures, p.picture, f"{_spaced(p.name)} as it lies on the plate")
            out.append(
                f"<figure>{shown}<b>{escape(p.number)} {escape(_spaced(p.name))}</b>{_pairs(p.rows)}{notes}</figure>"
            )
        out.append("</div>")
    if m.plates:
        out += ["<h2>Plates</h2>", _mind(m, "plates"), *(_plate(p) for p in m.plates)]
    out += _chapter("Fits", m.coupons)
    if m.assembly:
        out += [
            "<h2>Putting it together</h2>",
            *_paragraphs(m.assembly_words),
            _mind(m, "assembly"),
            '<div class="grid">',
        ]
        out += [_step(pictures, s) for s in m.assembly]
        out.append("</div>")
    if m.finishing:
        out += [
            "<h2>Finishing</h2>",
            _mind(m, "finishing"),
            *_paragraphs(m.finish_words),
            *(_table(t) for t in m.finishing),
        ]
    if m.swatches:
        out += ["<h2>Colours</h2>", _image(pictures, m.colour_map, "the figure in its colours, front and back")]
        out += [*(_swatch(s) for s in m.swatches), *(_table(t) for t in m.colours)]
    if m.masks:
        out += ["<h2>Masks and holders</h2>", _mind(m, "masks"), *_paragraphs(m.mask_words)]
        out += [_image(pictures, m.mask_picture, "caps, plugs and holders"), *(_table(t) for t in m.masks)]
    out += _chapter("Order of work", m.schedule)
    out += _chapter("Cost, time and spares", (*m.cost, *m.spares))
    out += _chapter("Poses", m.poses)
    if m.safety:
        out.append(
            "<h2>Working safely</h2><p>Follow the product’s data sheet and local rules; where you are not sure, ask a qualified person.</p>"
        )
        for s in m.safety:
            points = "".join(f"<li>{escape(w)}</li>" for w in s.words)
            out.append(f'<h3>{escape(s.work)}</h3><ul>{points}</ul><p class="faint">{escape(s.source)}</p>')
    for t in m.record:
        boxes = tuple((_spaced(r[0]), *("☐" for _ in r[1:])) for r in t.rows)
        out += ["<h2>Record</h2>", _table(Table(t.title, t.head, boxes, t.note))]
    out.append("</body></html>\n")
    return "\n".join(part for part in out if part).encode()


def _trouble(t: Trouble) -> str:
    found = f": {escape(t.measured)}" if t.measured else ""
    wanted = f", wanted {escape(t.wanted)}" if t.wanted else ""
    words = f"<b>{escape(t.check)}</b> – {escape(t.subjects)}{found}{wanted}. {escape(t.advice)}"
    return f'<p class="trouble"><span>{escape(t.verdict)}</span><span>{words}</span></p>'


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _image(pictures: dict[str, str], name: str, words: str, kind: str = "") -> str:
    return f'<img class="{kind}" src="{pictures[name]}" alt="{escape(words)}">' if name in pictures else ""


def _mind(matter: Matter, chapter: str) -> str:
    words = matter.cautions.get(chapter, "")
    return f'<p class="mind"><b>Mind:</b> {escape(words)}</p>' if words else ""


def _paragraphs(words: Sequence[str]) -> list[str]:
    return [f"<p>{escape(w)}</p>" for w in words]


def _chapter(title: str, tables: Sequence[Table]) -> list[str]:
    return [f"<h2>{escape(title)}</h2>", *(_table(t) for t in tables)] if tables else []


def _pairs(rows: Sequence[tuple[str, str]]) -> str:
    return (
        '<table class="pairs">'
        + "".join(f"<tr><th>{escape(a)}</th><td>{escape(b)}</td></tr>" for a, b in rows)
        + "</table>"
    )


def _table(t: Table) -> str:
    title = f"<h3>{escape(t.title)}</h3>" if t.title else ""
    head = "".join(f"<th>{escape(h)}</th>" for h in t.head)
    body = "".join("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>" for row in t.rows)
    note = f'<p class="faint">{escape(t.note)}</p>' if t.note else ""
    return f'{title}<div class="wide"><table><tr>{head}</tr>{body}</table></div>{note}'


def _swatch(s: Swatch) -> str:
    red, green, blue = s.rgb
    return f'<p><span class="swatch" style="background:rgb({red},{green},{blue})"></span><b>{escape(s.name)}</b> {escape(s.words)}</p>'


def _joint(j: JointEntry) -> str:
    size = f", {escape(j.size)}" if j.size else ""
    head = f'<h3>{escape(_spaced(j.name))}</h3><p class="faint">{escape(j.kind)}{size}: {escape(j.between)}</p>'
    if not j.built:
        return head + "<p>Not built. The two stay one part.</p>"
    stops = f'<p class="faint">Stopped by: {escape(j.stopped_by)}</p>' if j.stopped_by else ""
    printed = [f"{a.motion} as printed, until faces touch: {a.printed}." for a in j.arcs if a.printed]
    notes = "".join(f'<p class="faint">{escape(words)}</p>' for words in (*printed, *j.notes))
    drawn = "".join(_dial(a) for a in j.arcs) + (_reach(j.reach) if j.reach else "")
    return head + drawn + _pairs(j.rows) + stops + notes


def _reach(drawing: ReachDrawing) -> str:
    """A ball's reach in every direction: flexion up, abduction to the right, rings every 30°."""
    scale = 42.0 / drawing.outer

    def outline(k: int) -> str:
        spots = ((math.radians(s[0]), scale * s[k]) for s in drawing.spokes)
        return " ".join(f"{60 + r * math.sin(a):.1f},{60 - r * math.cos(a):.1f}" for a, r in spots)

    rings = "".join(
        f'<circle cx="60" cy="60" r="{scale * ring:.1f}" fill="none" stroke="#8a7f74" stroke-width=".3"/>'
        for ring in range(30, int(drawing.outer) + 1, 30)
    )
    return (
        '<svg width="120" height="120" viewBox="0 0 120 120" role="img" aria-label="reach in every direction">'
        f'{rings}<polygon points="{outline(1)}" fill="#7a2f1d33" stroke="#7a2f1d"/>'
        f'<polygon points="{outline(2)}" fill="none" stroke="#8a7f74" stroke-dasharray="1 2"/>'
        '<text x="60" y="118" text-anchor="middle" font-size="8">every direction, rings of 30°</text></svg>'
    )


def _dial(a: Arc) -> str:
    """A range of motion, 0 straight up."""

    def at(deg: float, r: float) -> str:
        x, y = 80 + r * math.sin(math.radians(deg)), 70 - r * math.cos(math.radians(deg))
        return f"{x:.1f} {y:.1f}"

    def path(span: tuple[float, float], r: float) -> str:
        n = max(2, math.ceil((span[1] - span[0]) / 4))
        return "M" + "L".join(at(span[0] + (span[1] - span[0]) * k / n, r) for k in range(n + 1))

    ink = [f'<path d="M{at(0, 8)}L{at(0, 56)}" stroke="#8a7f74"/>']
    if a.wanted:
        ink.append(f'<path d="{path(a.wanted, 54)}" stroke="#8a7f74" stroke-dasharray="2 2"/>')
    if a.reached:
        ink.append(f'<path d="{path(a.reached, 46)}" stroke="#7a2f1d" stroke-width="4"/>')
        for deg in a.reached:
            x, y = at(deg, 64).split()
            ink.append(f'<path d="M{at(deg, 8)}L{at(deg, 50)}" stroke="#231c17"/>')
            ink.append(f'<text x="{x}" y="{y}" font-size="10" text-anchor="middle">{deg:.0f}°</text>')
    said = f"{a.motion}: reached {a.reached}, wanted {a.wanted}".replace("None", "not known")
    words = f'<text x="80" y="138" font-size="11" text-anchor="middle">{escape(a.motion)}</text>'
    return f'<svg width="160" height="142" role="img" aria-label="{escape(said)}" fill="none"><g>{"".join(ink)}</g><g fill="#231c17">{words}</g></svg>'


def _plate(p: PlateEntry) -> str:
    scale = 420.0 / p.width_mm
    shapes = []
    for name, rings in p.outlines:
        for ring in rings:
            points = " ".join(f"{x * scale:.1f},{(p.depth_mm - y) * scale:.1f}" for x, y in ring)
            shapes.append(f'<polygon points="{points}" fill="#efe9df" stroke="#231c17" stroke-width=".7"/>')
        every = [q for ring in rings for q in ring]
        if every:
            x = sum(q[0] for q in every) / len(every) * scale
            y = (p.depth_mm - sum(q[1] for q in every) / len(every)) * scale
            shapes.append(
                f'<text x="{x:.1f}" y="{y + 4:.1f}" font-size="11" text-anchor="middle">{escape(name.split()[0])}</text>'
            )
    names = "".join(f"<li>{escape(_spaced(n))}</li>" for n, _ in p.outlines)
    drawn = f'<svg width="420" height="{p.depth_mm * scale:.0f}" role="img" aria-label="plate {escape(p.name)} from above" style="border:1px solid">{"".join(shapes)}</svg>'
    return f"<h3>{escape(p.name)}</h3>{drawn}{_pairs(p.rows)}<ul>{names}</ul>"


def _step(pictures: dict[str, str], s: StepEntry) -> str:
    arrow = ""
    if s.arrow:
        (x0, y0), (x1, y1) = ((100 * a, 100 * b) for a, b in s.arrow)
        arrow = f'<svg viewBox="0 0 100 100" preserveAspectRatio="none" width="100%" height="100%"><path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="#7a2f1d" stroke-dasharray="2 1.5"/><circle cx="{x1:.1f}" cy="{y1:.1f}" r="1.4" fill="#7a2f1d"/></svg>'
    shown = _image(pictures, s.picture, f"step {s.number}: {_spaced(s.title)}")
    words = "".join(f"<br>{escape(w)}" for w in s.words)
    return (
        f'<figure><div class="step">{shown}{arrow}</div><b>{s.number}. {escape(_spaced(s.title))}</b>{words}</figure>'
    )
