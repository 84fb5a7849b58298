// Plate VI: route cards. What is printed, sanded, primed; what failed, and how; coats, assembly and coupons.
import { Color, SRGBColorSpace } from "three";
import { api, type Card, COPY, type Finish, type Smooth } from "../api";
import { amount, el, fill, plain, svg } from "../dom";
import { onStage, type Plate, type Sheet } from "../sheet";
import { Coupons } from "./coupons";

const STEPS = ["cleaned", "dry fitted", "sanded", "primed", "painted", "sealed", "assembled"];
const HOWS = [
  "came loose",
  "loose strands",
  "layer shift",
  "stringing",
  "under-extrusion",
  "fused joint",
  "broken in removal",
  "missing region",
  "warped",
  "rough surface",
  "stuck to the film",
  "torn off supports",
  "layers parted",
  "cracked after curing",
  "other",
];

export class BenchPlate implements Plate {
  readonly number = "vi";
  readonly title = "At the bench";
  private cards: Card[] = [];
  private finish: Finish | null = null;
  private chosen: string | null = null;
  private stopInk: (() => void) | null = null;
  private readonly coupons = new Coupons();

  open(state: { stage: string }): boolean {
    return state.stage !== "empty";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    this.stopInk = sheet.leaders.also(() => this.ink(sheet));
    void this.load(sheet).then(() => this.coupons.load(sheet));
  }

  leave(sheet: Sheet): void {
    this.stopInk?.();
    sheet.figure?.mark(null);
    sheet.figure?.painted(null);
  }

  update(sheet: Sheet): void {
    void this.load(sheet);
  }

  private async load(sheet: Sheet): Promise<void> {
    if (sheet.state.stage === "made") {
      await sheet.showKit(true);
      sheet.figure?.apart(0);
      await sheet.attempt(async () => {
        if (!COPY) this.cards = await api.cards();
        this.finish = await api.finish();
      });
      this.paint(sheet);
      sheet.stage.ask();
    }
    this.draw(sheet);
  }

  private draw(sheet: Sheet): void {
    const printed = this.cards.filter((c) => c.state === "printed").length;
    fill(
      sheet.left,
      el("h2", {}, "Route cards"),
      el(
        "p",
        {},
        this.cards.length
          ? `${printed} of ${this.cards.length} parts are printed`
          : "There are cards once the kit is made.",
      ),
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
    const finish = this.finish?.parts[card.part];
    const own = sheet.state.joints.filter((j) => j.built && (j.child === card.part || j.parent === card.part));
    const said = own.filter((j) => this.finish?.masks[j.name]);
    const care = "Sand wet or with a dust mask; filler, primer and clear coat want fresh air and their makers' sheets.";
    return el(
      "div",
      {},
      el("h2", {}, plain(card.part)),
      el("p", {}, `${card.state}; ${card.tries} tries, ${card.failures} failed`),
      el("button", { id: "came-out", click: () => log(null) }, "It came out well"),
      el(
        "label",
        {},
        el("span", {}, "or it failed:"),
        how,
        " ",
        el("button", { id: "failed", click: () => log(how.value) }, "enter"),
      ),
      ...STEPS.map((step) => this.step(sheet, card, step)),
      finish ? el("h3", {}, "To smooth") : null,
      ...(finish?.words ?? []).map((w) => el("p", { class: "small" }, w)),
      finish ? el("p", { class: "small" }, care) : null,
      finish ? el("h3", {}, "To paint") : null,
      ...(finish ? this.painting(finish) : []),
      ...said.map((j) => el("p", { class: "small" }, `${plain(j.name)}: ${this.finish!.masks[j.name]}`)),
      el("hr", { class: "paperline" }),
    );
  }

  /** Colours, masks and the holding point of a part, numbered as they are on the figure. */
  private painting(finish: Smooth): HTMLElement[] {
    const areas = Object.entries(finish.colours_mm2).map(([name, mm2]) => `${name} ${amount(mm2 / 100, "cm²")}`);
    const masks = finish.masks.map((m, k) => {
      const file = m.file ? `print ${m.file}` : "tape or liquid mask";
      return `${k + 1}. ${plain(m.joint)}: a ${m.form}, ${file}`;
    });
    const held = finish.held_by ? `Hold it by ${plain(finish.held_by)} while it is coated (H on the figure).` : "";
    const lost = finish.lost.length
      ? "Dots on the figure are detail that sanding and coats would erase: go lightly there."
      : "";
    const words = [areas.length ? `Colours: ${areas.join(", ")}` : "", ...masks, held, lost].filter(Boolean);
    return words.map((w) => el("p", { class: "small" }, w));
  }

  /** Masks, the holding point and the detail that may be lost, on the chosen part itself. */
  private ink(sheet: Sheet): SVGElement[] {
    const finish = this.chosen ? this.finish?.parts[this.chosen] : undefined;
    if (!finish) return [];
    const out: SVGElement[] = [];
    const at = (joint: string) => {
      const found = sheet.state.joints.find((j) => j.name === joint);
      return found ? sheet.stage.seen(onStage(found.centre)) : null;
    };
    const label = (p: { x: number; y: number }, words: string) =>
      out.push(svg("text", { class: "on-figure", x: p.x + 9, y: p.y - 6 }, words));
    finish.masks.forEach((mask, k) => {
      const p = at(mask.joint);
      if (!p) return;
      out.push(svg("circle", { class: "mask", cx: p.x, cy: p.y, r: 8 }));
      label(p, `mask ${k + 1}`);
    });
    const held = finish.held_by ? at(finish.held_by) : null;
    if (held) out.push(svg("rect", { class: "held", x: held.x - 6, y: held.y - 6, width: 12, height: 12 }));
    if (held) label({ x: held.x, y: held.y + 22 }, "H");
    for (const place of finish.lost) {
      const p = sheet.stage.seen(onStage(place));
      if (p) out.push(svg("circle", { class: "lost", cx: p.x, cy: p.y, r: 2 }));
    }
    return out;
  }

  /** Each part in the colour that most of it is painted in. */
  private paint(sheet: Sheet): void {
    const { finish } = this;
    if (!finish || finish.colours.length < 2) return;
    const rgb = new Map(
      finish.colours.map((c) => [
        c.name,
        new Color().setRGB(c.rgb[0] / 255, c.rgb[1] / 255, c.rgb[2] / 255, SRGBColorSpace),
      ]),
    );
    const most = new Map<string, Color>();
    for (const [part, one] of Object.entries(finish.parts)) {
      const [name] = Object.entries(one.colours_mm2).sort((a, b) => b[1] - a[1])[0] ?? [""];
      const colour = rgb.get(name);
      if (colour) most.set(part, colour);
    }
    sheet.figure?.painted(most);
  }

  private step(sheet: Sheet, card: Card, step: string): HTMLElement {
    const change = () =>
      void sheet.attempt(async () => {
        this.cards = await api.tick(card.part, step, box.checked);
        this.draw(sheet);
      });
    const box = el("input", {
      type: "checkbox",
      id: `step-${step.replace(" ", "-")}`,
      checked: card.done.includes(step),
      change,
    });
    box.disabled = card.state !== "printed";
    return el("label", {}, box, ` ${step}`);
  }

  private work(): HTMLElement[] {
    const { finish } = this;
    if (!finish) return [];
    const list = (title: string, words: string[], ordered = false) =>
      words.length
        ? el(
            "details",
            {},
            el("summary", {}, title),
            el(ordered ? "ol" : "ul", { class: "small" }, ...words.map((w) => el("li", {}, w))),
          )
        : null;
    const colours = finish.colours.length > 1 ? finish.colours.map((c) => c.name) : [];
    return [
      list("Colours", colours),
      list("Coats", finish.coats),
      list("How it goes together", finish.assembly, true),
      list("The days", finish.days),
    ].filter((e) => e !== null);
  }
}
