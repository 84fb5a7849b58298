// Leader lines: from a numbered place on the figure to its note in the margin, as on an engraved plate.
import type { Vector3 } from "three";
import { svg } from "./dom";
import type { Stage } from "./stage";

export interface Lead {
  number: number;
  place: Vector3;
  note: HTMLElement;
  side: "left" | "right";
  chosen: boolean;
}

const LINE = 13;

/** Move words that would lie on others up or down by a line or two; the first keep their place. */
function apart(words: SVGElement[]): void {
  const taken: { x: number; y: number; width: number }[] = [];
  for (const word of words) {
    const width = 6.5 * (word.textContent?.length ?? 0);
    const anchor = word.getAttribute("text-anchor");
    const x = Number(word.getAttribute("x")) - (anchor === "end" ? width : anchor === "middle" ? width / 2 : 0);
    const y = Number(word.getAttribute("y"));
    const free = (at: number) =>
      taken.every((t) => Math.abs(t.y - at) >= LINE - 1 || t.x >= x + width || x >= t.x + t.width);
    const at = [0, 1, -1, 2, -2, 3].map((k) => y + k * LINE).find(free) ?? y;
    word.setAttribute("y", String(at));
    taken.push({ x, y: at, width });
  }
}

export class Leaders {
  private leads: Lead[] = [];
  private readonly extra: (() => SVGElement[])[] = [];

  constructor(
    private readonly stage: Stage,
    private readonly ink: SVGSVGElement,
  ) {
    stage.onDraw(() => this.draw());
    for (const id of ["left", "right"]) document.getElementById(id)!.addEventListener("scroll", () => this.draw());
  }

  set(leads: Lead[]): void {
    this.leads = leads;
    this.stage.ask();
  }

  /** More ink over the figure, drawn anew with every picture. */
  also(ink: () => SVGElement[]): () => void {
    this.extra.push(ink);
    this.stage.ask();
    return () => {
      this.extra.splice(this.extra.indexOf(ink), 1);
      this.stage.ask();
    };
  }

  draw(): void {
    const base = this.ink.getBoundingClientRect();
    const out: SVGElement[] = [];
    for (const lead of this.leads) {
      const at = this.stage.seen(lead.place);
      if (!at || !lead.note.isConnected) continue;
      const note = lead.note.getBoundingClientRect();
      const margin = lead.note.closest(".margin")!.getBoundingClientRect();
      const y = note.top + Math.min(12, note.height / 2) - base.top;
      // Where the notes stand below the figure their numbers are enough.
      const beside = margin.top < base.bottom - 20;
      const visible = beside && note.bottom > margin.top && note.top < margin.bottom;
      const mark = lead.chosen ? " chosen" : "";
      if (visible) {
        const x = lead.side === "left" ? margin.right - base.left - 4 : margin.left - base.left + 4;
        const knee = lead.side === "left" ? Math.max(14, x + 18) : Math.min(this.stage.width - 14, x - 18);
        out.push(svg("polyline", { class: `lead${mark}`, points: `${x},${y} ${knee},${y} ${at.x},${at.y}` }));
      }
      out.push(svg("circle", { class: `dot${mark}`, cx: at.x, cy: at.y, r: lead.chosen ? 4.5 : 3 }));
      if (lead.number) {
        const [dx, anchor] = lead.side === "left" ? [6, "start"] : [-6, "end"];
        out.push(
          svg("text", { class: "on-figure", x: at.x + dx, y: at.y - 5, "text-anchor": anchor }, `${lead.number}`),
        );
      }
    }
    for (const more of this.extra) out.push(...more());
    apart(out.filter((e) => e.classList.contains("on-figure")));
    this.ink.replaceChildren(...out);
  }
}
