// Plate III: the kit, pulled apart by one gesture; each part with what was measured of it.
import { Box3, type Mesh, Vector3 } from "three";
import { api, COPY, type Finding, type Part } from "../api";
import { amount, asked, el, fill, plain, rows, verdict } from "../dom";
import type { Lead } from "../leaders";
import type { Plate, Sheet } from "../sheet";
import { findingsOf, told, worstOf } from "./joints";

export class KitPlate implements Plate {
  readonly number = "iii";
  readonly title = "The kit";
  private share = 0.6;
  private framed = false;
  private chosen: string | null = null;

  open(state: { stage: string }): boolean {
    return state.stage !== "empty";
  }

  enter(sheet: Sheet): void {
    sheet.stage.held = (event) => this.pick(sheet, event);
    this.update(sheet);
  }

  leave(sheet: Sheet): void {
    sheet.stage.held = null;
    sheet.figure?.mark(null);
    sheet.figure?.apart(0);
    this.framed = false;
    sheet.frame();
  }

  update(sheet: Sheet): void {
    const { state } = sheet;
    if (state.stage === "made") {
      void sheet.showKit().then((fresh) => {
        sheet.figure?.pose(state.joints, new Map());
        sheet.figure?.apart(this.share);
        if (fresh || !this.framed) sheet.frame();
        this.framed = true;
        this.leads(sheet);
      });
    }
    const pull = el("input", {
      id: "apart",
      type: "range",
      min: 0,
      max: 100,
      value: 100 * this.share,
      "aria-label": "how far the kit is pulled apart",
      input: () => {
        this.share = Number(pull.value) / 100;
        sheet.figure?.apart(this.share);
        sheet.frame();
        this.leads(sheet);
      },
    });
    const total = state.parts.reduce((sum, p) => sum + (p.mass_g ?? 0), 0);
    const unweighed = state.parts.filter((p) => p.mass_g === null).length;
    const known = rows([
      ["parts", String(state.parts.length)],
      ["mass", amount(total, "g") + (unweighed ? `, ${unweighed} parts not counted` : "")],
    ]);
    const apart = el("label", {}, el("span", {}, "pulled apart"), pull);
    fill(
      sheet.left,
      el("h2", {}, "The kit"),
      COPY ? null : this.making(sheet),
      state.parts.length ? el("div", {}, known, apart) : el("p", {}, "Nothing is cut yet."),
      ...this.tally(sheet),
    );
    const part = state.parts.find((p) => p.name === this.chosen);
    const notes = state.parts.map((p) => this.note(sheet, p));
    fill(sheet.right, el("h2", {}, "Parts"), ...notes, part ? this.detail(sheet, part) : null);
    this.leads(sheet);
  }

  private making(sheet: Sheet): HTMLElement {
    const { state } = sheet;
    const again = state.fresh ? "Make the kit again" : "The figure has changed: make the kit again";
    const words = state.stage === "made" ? again : "Part the sculpt and make the kit";
    const make = el("button", { id: "make", click: () => void sheet.attempt(api.make) }, words);
    make.disabled = state.job !== null;
    return make;
  }

  private tally(sheet: Sheet): HTMLElement[] {
    const found = sheet.state.findings;
    if (!found.length) return [];
    const loud = found.filter((f) => f.verdict === "fail" || f.verdict === "caution");
    const verdicts = ["fail", "caution", "unknown", "pass"] as const;
    // What is said of many parts in the same words is said once.
    const alike = new Map<string, Finding[]>();
    for (const f of loud.sort((a, b) => (a.verdict < b.verdict ? 1 : -1))) {
      const key = `${f.verdict} ${f.check} ${f.advice}`;
      alike.set(key, [...(alike.get(key) ?? []), f]);
    }
    return [
      el("hr", { class: "paperline" }),
      el("h2", {}, "What was found"),
      rows(verdicts.map((v) => [v, String(found.filter((f) => f.verdict === v).length)])),
      ...[...alike.values()]
        .slice(0, 14)
        .map((fs) =>
          el(
            "p",
            {},
            verdict(fs[0]!.verdict),
            ` ${fs.map((f) => plain(f.subject)).join(", ")} (${asked(fs[0]!.check)}): ${fs[0]!.advice}`,
          ),
        ),
    ];
  }

  private note(sheet: Sheet, part: Part): HTMLElement {
    const worst = worstOf(findingsOf(sheet.state.findings, part.name));
    const again = !sheet.state.fresh && sheet.state.live?.parts.includes(part.name) ? "cut again" : null;
    const words = [worst, amount(part.mass_g, "g"), again].filter(Boolean).join(", ");
    const pressed = String(part.name === this.chosen);
    const mark = worst ? el("span", { class: `mark ${worst}` }) : null;
    return el(
      "button",
      { class: "note", id: `part-${part.name}`, "aria-pressed": pressed, click: () => this.choose(sheet, part.name) },
      el("span", { class: "n" }, String(sheet.state.parts.indexOf(part) + 1)),
      el("span", {}, plain(part.name), el("span", { class: "sub" }, mark, words)),
    );
  }

  private detail(sheet: Sheet, part: Part): HTMLElement {
    const loud = findingsOf(sheet.state.findings, part.name).filter((f) => f.verdict !== "pass");
    return el(
      "div",
      {},
      el("hr", { class: "paperline" }),
      el("h2", {}, plain(part.name)),
      rows([
        ["volume", amount(part.volume_mm3, "mm³")],
        ["mass", amount(part.mass_g, "g")],
        ["thinnest wall", amount(part.min_wall_mm, "mm")],
      ]),
      ...loud.map(told),
    );
  }

  private choose(sheet: Sheet, name: string | null): void {
    this.chosen = this.chosen === name ? null : name;
    sheet.figure?.mark(this.chosen);
    this.update(sheet);
  }

  private leads(sheet: Sheet): void {
    const mesh = this.chosen ? sheet.figure?.parts.get(this.chosen) : undefined;
    const note = this.chosen ? document.getElementById(`part-${this.chosen}`) : null;
    const leads: Lead[] = [];
    if (mesh && note) {
      const place = new Box3().setFromObject(mesh).getCenter(new Vector3());
      leads.push({ number: 0, place, note, side: "right", chosen: true });
    }
    sheet.leaders.set(leads);
  }

  private pick(sheet: Sheet, event: PointerEvent): boolean {
    const box = (event.target as Element).getBoundingClientRect();
    const meshes = [...(sheet.figure?.parts.values() ?? [])] as Mesh[];
    const start = [event.clientX, event.clientY];
    (event.target as HTMLElement).addEventListener(
      "pointerup",
      (up) => {
        if (Math.hypot(up.clientX - start[0]!, up.clientY - start[1]!) > 4) return;
        const hit = sheet.stage.under(up.clientX - box.left, up.clientY - box.top, meshes);
        if (hit) this.choose(sheet, hit.object.userData["part"] as string);
      },
      { once: true },
    );
    return false;
  }
}
