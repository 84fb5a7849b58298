// Plate VI: route cards. What is printed, sanded, primed; what failed, and how; coats, assembly and coupons.
import { api, type Card, COPY, type Finish } from "../api";
import { el, fill, plain } from "../dom";
import type { Plate, Sheet } from "../sheet";
import { Coupons } from "./coupons";

const STEPS = ["cleaned", "dry fitted", "sanded", "primed", "painted", "sealed", "assembled"];
const HOWS = [
  "came loose", "loose strands", "layer shift", "stringing", "under-extrusion", "fused joint", "broken in removal",
  "missing region", "warped", "rough surface", "other",
];

export class BenchPlate implements Plate {
  readonly number = "vi";
  readonly title = "At the bench";
  private cards: Card[] = [];
  private finish: Finish | null = null;
  private chosen: string | null = null;
  private readonly coupons = new Coupons();

  open(state: { stage: string }): boolean {
    return state.stage !== "empty";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    void this.load(sheet).then(() => this.coupons.load(sheet));
  }

  leave(sheet: Sheet): void {
    sheet.figure?.mark(null);
  }

  update(sheet: Sheet): void {
    void this.load(sheet);
  }

  private async load(sheet: Sheet): Promise<void> {
    if (sheet.state.stage === "made") {
      await sheet.show("figure", sheet.state.revision + sheet.state.fresh);
      sheet.figure?.apart(0);
      await sheet.attempt(async () => {
        if (!COPY) this.cards = await api.cards();
        this.finish = await api.finish();
      });
    }
    this.draw(sheet);
  }

  private draw(sheet: Sheet): void {
    const printed = this.cards.filter((c) => c.state === "printed").length;
    fill(
      sheet.left,
      el("h2", {}, "Route cards"),
      el("p", {}, this.cards.length ? `${printed} of ${this.cards.length} parts are printed` : "There are cards once the kit is made."),
      ...this.cards.map((c) => this.note(sheet, c)),
    );
    const card = this.cards.find((c) => c.part === this.chosen);
    fill(sheet.right, card ? this.detail(sheet, card) : null, COPY ? null : this.coupons.place, ...this.work());
  }

  private note(sheet: Sheet, card: Card): HTMLElement {
    const choose = () => {
      this.chosen = this.chosen === card.part ? null : card.part;
      sheet.figure?.mark(this.chosen);
      sheet.stage.ask();
      this.draw(sheet);
      sheet.right.scrollTop = 0;
    };
    return el(
      "button",
      { class: "note", id: `card-${card.part}`, "aria-pressed": String(card.part === this.chosen), click: choose },
      el("span", { class: "n" }, card.state === "printed" ? "✓" : ""),
      el("span", {}, plain(card.part), el("span", { class: "sub" }, [card.state, ...card.done].join(", "))),
    );
  }

  private detail(sheet: Sheet, card: Card): HTMLElement {
    const log = (how: string | null) =>
      void sheet.attempt(async () => {
        this.cards = await api.attempt([card.part], how, "");
        this.draw(sheet);
      });
    const how = el("select", { id: "how" }, ...HOWS.map((h) => el("option", {}, h)));
    const smoothing = this.finish?.parts[card.part] ?? [];
    const masked = sheet.state.joints.filter((j) => j.built && (j.child === card.part || j.parent === card.part));
    return el(
      "div",
      {},
      el("h2", {}, plain(card.part)),
      el("p", {}, `${card.state}; ${card.tries} tries, ${card.failures} failed`),
      el("button", { id: "came-out", click: () => log(null) }, "It came out well"),
      el("label", {}, el("span", {}, "or it failed:"), how, " ", el("button", { id: "failed", click: () => log(how.value) }, "enter")),
      ...STEPS.map((step) => this.step(sheet, card, step)),
      smoothing.length ? el("h3", {}, "To smooth") : null,
      ...smoothing.map((w) => el("p", { class: "small" }, w)),
      smoothing.length ? el("p", { class: "small" }, "Sand wet or with a dust mask; filler, primer and clear coat want fresh air and their makers' sheets.") : null,
      ...masked.map((j) => {
        const words = this.finish?.masks[j.name];
        return words ? el("p", { class: "small" }, `${plain(j.name)}: ${words}`) : null;
      }),
      el("hr", { class: "paperline" }),
    );
  }

  private step(sheet: Sheet, card: Card, step: string): HTMLElement {
    const change = () =>
      void sheet.attempt(async () => {
        this.cards = await api.tick(card.part, step, box.checked);
        this.draw(sheet);
      });
    const box = el("input", { type: "checkbox", id: `step-${step.replace(" ", "-")}`, checked: card.done.includes(step), change });
    box.disabled = card.state !== "printed";
    return el("label", {}, box, ` ${step}`);
  }

  private work(): HTMLElement[] {
    const { finish } = this;
    if (!finish) return [];
    const list = (title: string, words: string[], ordered = false) =>
      words.length ? el("details", {}, el("summary", {}, title), el(ordered ? "ol" : "ul", { class: "small" }, ...words.map((w) => el("li", {}, w)))) : null;
    return [list("Coats", finish.coats), list("How it goes together", finish.assembly, true), list("The days", finish.days)].filter((e) => e !== null);
  }
}
