// Plate VI: route cards. What is printed, sanded, primed; what failed, and how.
import { api, type Card } from "../api";
import { el, fill, plain } from "../dom";
import type { Plate, Sheet } from "../sheet";

const STEPS = ["cleaned", "dry fitted", "sanded", "primed", "painted", "sealed", "assembled"];
const HOWS = ["came loose", "loose strands", "layer shift", "stringing", "under-extrusion", "fused joint", "broken in removal", "missing region", "warped", "rough surface", "other"];

export class BenchPlate implements Plate {
  readonly number = "vi";
  readonly title = "At the bench";
  private cards: Card[] = [];
  private chosen: string | null = null;

  open(state: { stage: string }): boolean {
    return state.stage === "made";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    void this.load(sheet);
  }

  leave(sheet: Sheet): void {
    sheet.figure?.mark(null);
  }

  update(sheet: Sheet): void {
    void this.load(sheet);
  }

  private async load(sheet: Sheet): Promise<void> {
    await sheet.show("figure", sheet.state.revision + sheet.state.fresh);
    sheet.figure?.apart(0);
    await sheet.attempt(async () => (this.cards = await api.cards()));
    this.draw(sheet);
  }

  private draw(sheet: Sheet): void {
    const printed = this.cards.filter((c) => c.state === "printed").length;
    fill(sheet.left, el("h2", {}, "Route cards"), el("p", {}, `${printed} of ${this.cards.length} parts are printed`),
      ...this.cards.map((c) => el("button", { class: "note", id: `card-${c.part}`, "aria-pressed": String(c.part === this.chosen), click: () => ((this.chosen = c.part), sheet.figure?.mark(c.part), sheet.stage.ask(), this.draw(sheet)) },
        el("span", { class: "n" }, c.state === "printed" ? "✓" : ""), el("span", {}, plain(c.part), el("span", { class: "sub" }, [c.state, ...c.done].join(", "))))));
    const card = this.cards.find((c) => c.part === this.chosen);
    fill(sheet.right, card ? this.detail(sheet, card) : el("p", {}, "Choose a part."));
  }

  private detail(sheet: Sheet, card: Card): HTMLElement {
    const log = (how: string | null) => void sheet.attempt(async () => {
      this.cards = await api.attempt([card.part], how, "");
      this.draw(sheet);
    });
    const how = el("select", { id: "how" }, ...HOWS.map((h) => el("option", {}, h)));
    return el("div", {}, el("h2", {}, plain(card.part)), el("p", {}, `${card.state}; ${card.tries} tries, ${card.failures} failed`),
      el("button", { id: "came-out", click: () => log(null) }, "It came out well"),
      el("label", {}, el("span", {}, "or it failed:"), how, " ", el("button", { id: "failed", click: () => log(how.value) }, "enter")),
      el("hr", { class: "paperline" }), ...STEPS.map((step) => {
        const box = el("input", { type: "checkbox", id: `step-${step.replace(" ", "-")}`, checked: card.done.includes(step), change: () => void sheet.attempt(async () => {
          this.cards = await api.tick(card.part, step, box.checked);
          this.draw(sheet);
        }) });
        box.disabled = card.state !== "printed";
        return el("label", {}, box, ` ${step}`);
      }));
  }
}
