// Plate II: the joints in the sculpt, each with a leader to its note; a joint is moved by hand across the view.
import { Plane, Vector3 } from "three";
import { api, type Change, COPY, type Finding, type Joint, type Section, type Sizes } from "../api";
import { arcInk, AT_REST } from "../arcs";
import { amount, asked, degrees, el, fill, plain, rows, svg, verdict } from "../dom";
import type { Lead } from "../leaders";
import { inFigure, onStage, type Plate, type Sheet } from "../sheet";

const KINDS = ["ball", "hinge", "double_hinge", "swivel", "peg"];

const NUDGES: [string, number, number][] = [
  ["forward", 0, 0.5],
  ["back", 0, -0.5],
  ["to its left", 1, 0.5],
  ["to its right", 1, -0.5],
  ["up", 2, 0.5],
  ["down", 2, -0.5],
];
const ASK_AGAIN_MS = 250;

export class JointsPlate implements Plate {
  readonly number = "ii";
  readonly title = "The joints";
  private chosen: string | null = null;
  private moved: { name: string; place: Vector3 } | null = null;
  private section: Section | null = null;
  private sizes: Sizes | null = null;
  private askedAt = 0;
  private stopInk: (() => void) | null = null;
  private stopRest: (() => void) | null = null;

  open(state: { stage: string }): boolean {
    return state.stage !== "empty";
  }

  enter(sheet: Sheet): void {
    this.stopRest = sheet.stage.onRest(() => this.update(sheet));
    this.stopInk = sheet.leaders.also(() => this.ink(sheet));
    sheet.stage.held = (event) => this.take(sheet, event);
    this.update(sheet);
  }

  leave(sheet: Sheet): void {
    this.stopInk?.();
    this.stopRest?.();
    sheet.stage.held = null;
  }

  /** News of the sizes that fit where the joint is held. */
  fits(sizes: Sizes): void {
    if (sizes.joint !== this.chosen) return;
    this.sizes = sizes;
    const place = document.getElementById("sizes");
    if (place) fill(place, ...this.fitting());
  }

  update(sheet: Sheet): void {
    const { state } = sheet;
    // Parts that were cut again are shown as they are now, kerfs and all; else the sculpt as it came.
    const cut = !state.fresh && state.live?.joints.length && !this.moved;
    void (cut ? sheet.showKit() : sheet.showSculpt()).then((fresh) => {
      sheet.figure?.apart(0);
      if (fresh) this.update(sheet);
    });
    const leads: Lead[] = [];
    const sides: Record<"left" | "right", HTMLElement[]> = { left: [], right: [] };
    // Notes stand in the order in which their joints are seen, each on the side where its joint is: few lines cross.
    const seen = new Map(state.joints.map((j) => [j.name, sheet.stage.seen(this.placeOf(j)) ?? { x: 0, y: 0 }]));
    const order = [...state.joints].sort((a, b) => seen.get(a.name)!.y - seen.get(b.name)!.y);
    const middle = median(order.map((j) => seen.get(j.name)!.x));
    for (const joint of order) {
      const number = state.joints.indexOf(joint) + 1;
      const off = seen.get(joint.name)!.x - middle;
      const fewer = sides.left.length <= sides.right.length ? "left" : "right";
      const side = Math.abs(off) < 4 ? fewer : off > 0 ? "right" : "left";
      const note = this.note(sheet, joint, number);
      sides[side].push(note);
      leads.push({ number, place: this.placeOf(joint), note, side, chosen: joint.name === this.chosen });
    }
    const detail = this.detail(sheet);
    for (const lead of leads) {
      // What is told of the chosen joint stands on the right, and its line goes there.
      if (lead.chosen && detail) [lead.note, lead.side] = [detail.querySelector("h2")!, "right"];
    }
    fill(sheet.left, el("h2", {}, "Joints"), ...sides.left);
    fill(sheet.right, detail ? null : el("h2", {}, "Joints, continued"), detail, ...sides.right);
    sheet.leaders.set(leads);
  }

  private note(sheet: Sheet, joint: Joint, number: number): HTMLElement {
    const worst = worstOf(findingsOf(sheet.state.findings, joint.name));
    const reach = Object.entries(joint.reached ?? {})
      .map(([m, r]) => `${m} ${degrees(r)}`)
      .join(", ");
    const family = `${plain(joint.kind)}${joint.size ? `, ${joint.size} mm` : ""}`;
    const words = [worst, joint.built === false ? "not built" : reach || family].filter(Boolean).join(": ");
    const pressed = String(joint.name === this.chosen);
    const mark = worst ? el("span", { class: `mark ${worst}` }) : null;
    return el(
      "button",
      { class: "note", id: `joint-${joint.name}`, "aria-pressed": pressed, click: () => this.choose(sheet, joint) },
      el("span", { class: "n" }, String(number)),
      el("span", {}, plain(joint.name), el("span", { class: "sub" }, mark, words)),
    );
  }

  private choose(sheet: Sheet, joint: Joint): void {
    this.chosen = this.chosen === joint.name ? null : joint.name;
    this.section = null;
    this.sizes = null;
    this.update(sheet);
    if (!this.chosen) return;
    void this.cut(sheet, joint, joint.centre);
    // Made ready while the hand is still on its way, so that its parts follow at once.
    if (sheet.state.stage === "made" && !COPY) void sheet.attempt(() => api.takeUp(joint.name));
  }

  private async cut(sheet: Sheet, joint: Joint, centre: readonly number[]): Promise<void> {
    const child = sheet.state.joints.find((j) => j.parent === joint.child);
    const along = child ? child.centre.map((v, k) => v - joint.centre[k]!) : [0, 0, -1];
    try {
      this.section = await api.section(centre, along);
      const place = document.getElementById("section");
      if (place) fill(place, this.drawn());
    } catch {
      this.section = null;
    }
  }

  private detail(sheet: Sheet): HTMLElement | null {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    if (!joint) return null;
    const { live } = sheet.state;
    const took = live?.took_s[joint.name];
    const loud = findingsOf(sheet.state.findings, joint.name).filter((f) => f.verdict !== "pass");
    return el(
      "div",
      {},
      el("h2", {}, plain(joint.name)),
      el("div", { id: "section" }, this.drawn()),
      el("div", { id: "sizes", "aria-live": "polite" }, ...this.fitting()),
      rows([
        ["lies at", joint.centre.map((v) => v.toFixed(1)).join(", ") + " mm"],
        ["place", joint.source === "hand" ? "set by hand" : joint.source === "skin" ? "from the file" : "found"],
        ["holds", amount(joint.hold_nmm, "N·mm")],
        ["load", amount(joint.load_nmm, "N·mm")],
      ]),
      took ? el("p", { class: "small", id: "took" }, anew(took, live?.measured[joint.name] ?? [])) : null,
      ...this.changes(sheet, joint),
      ...loud.slice(0, 8).map(told),
    );
  }

  private changes(sheet: Sheet, joint: Joint): HTMLElement[] {
    const set = (key: string, value: string | number | null) =>
      void sheet.edit([{ path: ["joints", joint.name, key], value }]).then((done) => done && this.update(sheet));
    const pick = (id: string, all: string[], now: string) => {
      const options = all.map((k) => el("option", { value: k, selected: k === now }, plain(k)));
      const select = el("select", { id, change: () => set(id, select.value) }, ...options);
      return select;
    };
    const size = el("input", {
      id: "size",
      type: "number",
      min: 1,
      max: 40,
      step: 0.5,
      value: joint.size ?? "",
      change: () => set("size", size.value ? Number(size.value) : null),
    });
    const nudge = el(
      "div",
      { id: "nudge" },
      ...NUDGES.map(([words, axis, step]) =>
        el(
          "button",
          {
            class: "word",
            "aria-label": `move ${plain(joint.name)} half a millimetre ${words}`,
            click: () =>
              this.place(
                sheet,
                joint,
                joint.centre.map((v, i) => (i === axis ? v + step : v)),
              ),
          },
          words,
        ),
      ),
    );
    const sides = ["child", "parent", "both"];
    return [
      el("label", {}, el("span", {}, "kind"), pick("kind", KINDS, joint.kind)),
      el("label", {}, el("span", {}, "size, mm (empty: the largest that fits)"), size),
      el("label", {}, el("span", {}, "gives way"), pick("yields", sides, joint.yields ?? "child")),
      el("p", {}, "Drag the joint across the figure, or half a millimetre:"),
      nudge,
    ];
  }

  private drawn(): SVGElement | string {
    const cut = this.section;
    if (!cut || !cut.outlines.length) return "";
    const label = `the limb cut at the joint; its centre lies ${cut.depth_mm.toFixed(1)} mm deep`;
    const box = svg("svg", { viewBox: "-16 -16 32 32", width: 190, height: 190, role: "img", "aria-label": label });
    const line = { fill: "none", stroke: "var(--ink)", "stroke-width": 0.25 };
    for (const ring of cut.outlines) {
      box.append(svg("polygon", { ...line, points: ring.map(([x, y]) => `${x},${-y}`).join(" ") }));
    }
    const thin = { cx: 0, cy: 0, fill: "none", stroke: "var(--faint)", "stroke-width": 0.15 };
    if (cut.depth_mm > 0) box.append(svg("circle", { ...thin, r: cut.depth_mm, "stroke-dasharray": "0.6 0.5" }));
    for (const size of this.sizes?.sizes_mm ?? []) box.append(svg("circle", { ...thin, r: size / 2 }));
    box.append(svg("circle", { cx: 0, cy: 0, r: 0.6, fill: "var(--accent)" }));
    box.append(svg("text", { x: -15, y: 15, class: "in-section" }, `${cut.depth_mm.toFixed(1)} mm deep`));
    return box;
  }

  /** The sizes that fit where the joint is, the one that is built among them. */
  private fitting(): HTMLElement[] {
    const { sizes } = this;
    if (!sizes) return [];
    const kind = plain(sizes.kind);
    const words = sizes.sizes_mm.length
      ? `Sizes that fit here as a ${kind}: ${sizes.sizes_mm.join(", ")} mm, beside all other joints as they are`
      : `No ${kind} fits here: ${sizes.least_mm} mm lacks ${amount(sizes.lack_mm, "mm", 2)} of flesh or a neighbour's room`;
    return [el("p", {}, words)];
  }

  private placeOf(joint: Joint): Vector3 {
    return this.moved?.name === joint.name ? this.moved.place : onStage(joint.centre);
  }

  private ink(sheet: Sheet): SVGElement[] {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    if (!joint) return [];
    const seat = { centre: this.placeOf(joint), turn: AT_REST };
    return Object.keys(joint.reached ?? {}).flatMap((m) => arcInk(sheet.stage, joint, m, seat, 0));
  }

  /** A drag that begins on the chosen joint moves it in the plane that faces the eye. */
  private take(sheet: Sheet, event: PointerEvent): boolean {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    const at = joint ? sheet.stage.seen(onStage(joint.centre)) : null;
    const box = (event.target as Element).getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    if (!joint || !at || Math.hypot(at.x - x, at.y - y) > 16) return false;
    const away = sheet.stage.camera.getWorldDirection(new Vector3());
    const plane = new Plane().setFromNormalAndCoplanarPoint(away, onStage(joint.centre));
    const canvas = event.target as HTMLElement;
    canvas.setPointerCapture(event.pointerId);
    const move = (e: PointerEvent) => {
      const hit = sheet.stage.ray(e.clientX - box.left, e.clientY - box.top).ray.intersectPlane(plane, new Vector3());
      if (!hit) return;
      this.moved = { name: joint.name, place: hit };
      this.update(sheet);
      void this.cut(sheet, joint, inFigure(hit));
      this.askSizes(sheet, joint, hit);
    };
    const end = () => {
      canvas.removeEventListener("pointermove", move);
      const place = this.moved?.place;
      if (place) this.place(sheet, joint, inFigure(place));
    };
    canvas.addEventListener("pointermove", move);
    canvas.addEventListener("pointerup", end, { once: true });
    canvas.addEventListener("pointercancel", end, { once: true });
    return true;
  }

  private askSizes(sheet: Sheet, joint: Joint, place: Vector3): void {
    const now = performance.now();
    if (sheet.state.stage !== "made" || now - this.askedAt < ASK_AGAIN_MS) return;
    this.askedAt = now;
    void sheet.attempt(() => api.sizes(joint.name, inFigure(place)));
  }

  private place(sheet: Sheet, joint: Joint, centre: readonly number[]): void {
    const value = centre.map((v) => Math.round(v * 100) / 100);
    const changes: Change[] = [{ path: ["joints", joint.name, "centre"], value }];
    // One that was found moves as it was settled in its limb, not as it was first seen.
    const frame = joint.source === "hand" || this.sizes?.joint !== joint.name ? null : this.sizes.frame;
    for (const [key, way] of Object.entries(frame ?? {}))
      changes.push({ path: ["joints", joint.name, key], value: way });
    void sheet.edit(changes).then((done) => {
      this.moved = null;
      const after = sheet.state.stage === "made" ? "its parts are cut again" : "make the kit to measure it";
      if (done) sheet.say(`${plain(joint.name)} lies at ${value.join(", ")} mm now; ${after}`);
      this.update(sheet);
      const fresh = sheet.state.joints.find((j) => j.name === joint.name);
      if (fresh) void this.cut(sheet, fresh, fresh.centre);
    });
  }
}

/** How long after the move what was cut and measured, and what still waits. */
function anew(took: Record<string, number>, measured: string[]): string {
  const said = [`cut again ${took["cut"]?.toFixed(1)} s after the move`];
  if (took["fit"]) said.push(`fit and walls measured after ${took["fit"].toFixed(1)} s`);
  if (took["motion"]) said.push(`motion after ${took["motion"].toFixed(1)} s`);
  if (!measured.includes("move")) said.push("motion not yet measured again");
  return `${said.join(", ")}. Engraved codes, loads, printing and the finish wait for the next kit.`;
}

/** A finding in words, its verdict first. */
export function told(f: Finding): HTMLElement {
  const measured = f.measured === null ? "" : `: ${amount(f.measured, f.unit)}`;
  const wanted = f.target === null ? "" : `, wanted ${amount(f.target, f.unit)}`;
  return el("p", {}, verdict(f.verdict), ` ${asked(f.check)}${measured}${wanted}. ${f.advice}`);
}

export function findingsOf(all: Finding[], subject: string): Finding[] {
  return all.filter((f) => f.subject.split(/[ /]/).some((w) => w === subject || w === `${subject}_link`));
}

export function worstOf(found: Finding[]): string | null {
  for (const word of ["fail", "caution", "unknown"]) if (found.some((f) => f.verdict === word)) return word;
  return null;
}

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] ?? 0;
}
