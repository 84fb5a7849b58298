// What a coupon sheet still asks, one blank after the other, and what its answers tell.
import { api, type Calibrated, type CouponSheet } from "../api";
import { el, fill, plain } from "../dom";
import type { Sheet } from "../sheet";

export class Coupons {
  private sheets: CouponSheet[] = [];
  private told: Calibrated | null = null;
  readonly place = el("div", { id: "coupons" });

  async load(sheet: Sheet): Promise<void> {
    await sheet.attempt(async () => (this.sheets = await api.sheets()));
    this.draw(sheet);
  }

  private draw(sheet: Sheet): void {
    const none =
      "There is no coupon sheet beside the figure file. Print a plate of coupons first: condyle coupon --out coupons";
    fill(
      this.place,
      el("h2", {}, "Coupon results"),
      this.sheets.length ? null : el("p", { class: "small" }, none),
      ...this.sheets.map((s) => this.one(sheet, s)),
      ...this.result(sheet),
    );
  }

  private one(sheet: Sheet, asked: CouponSheet): HTMLElement {
    if (asked.trouble) return el("p", {}, `${asked.name}: ${asked.trouble}`);
    const next = asked.questions[0];
    const work = el(
      "button",
      { id: "calibrate", click: () => void this.workOut(sheet, asked) },
      "Work out the printer file",
    );
    return el(
      "div",
      {},
      el("p", {}, `${asked.name}: ${asked.questions.length} blanks left`),
      next ? el("p", { class: "small" }, next.group) : null,
      next ? this.question(sheet, asked, next) : null,
      work,
    );
  }

  private question(sheet: Sheet, asked: CouponSheet, next: CouponSheet["questions"][number]): HTMLElement {
    const say = (value: string | number) =>
      void sheet.attempt(async () => {
        const fresh = await api.answer(asked.name, next.path, value);
        this.sheets = this.sheets.map((s) => (s.name === fresh.name ? fresh : s));
        this.draw(sheet);
        (document.querySelector("#coupons button, #coupons input") as HTMLElement | null)?.focus();
      });
    if (next.choices.length) {
      const words = next.choices.map((c, k) =>
        el("button", { id: `felt-${k}`, class: "word", click: () => say(c) }, c),
      );
      return el("div", { role: "group", "aria-label": next.words }, el("p", {}, next.words), ...words);
    }
    const number = el("input", { type: "number", id: "read", step: "any" });
    const enter = () => (number.value === "" ? sheet.say("a number, please") : say(Number(number.value)));
    number.addEventListener("keydown", (e) => e.key === "Enter" && enter());
    return el(
      "label",
      {},
      el("span", {}, next.words),
      number,
      " ",
      el("button", { id: "enter-read", click: enter }, "enter"),
    );
  }

  private async workOut(sheet: Sheet, asked: CouponSheet): Promise<void> {
    await sheet.attempt(async () => (this.told = await api.calibrate(asked.name)));
    this.draw(sheet);
  }

  private result(sheet: Sheet): HTMLElement[] {
    const { told } = this;
    if (!told) return [];
    const use = el(
      "button",
      {
        id: "use-printer",
        click: () =>
          void sheet.edit([{ path: ["workshop", "printer"], value: told.printer }]).then((done) => {
            if (done) sheet.say(`the figure is drawn for ${told.printer} now; make the kit again`);
          }),
      },
      `Draw this figure for ${told.printer}`,
    );
    use.disabled = sheet.state.printer === told.printer;
    return [el("h3", {}, told.printer), ...told.said.map((w) => el("p", { class: "small" }, plain(w))), use];
  }
}
