// Plate II: the joints in the sculpt, each with a leader to its note; a joint is moved by hand across the view.
import { Plane, Vector3 } from "three";
import { api, type Finding, type Joint, type Section } from "../api";
import { arcInk, AT_REST } from "../arcs";
import { amount, el, fill, plain, rows, svg, verdict } from "../dom";
import type { Lead } from "../leaders";
import { inFigure, onStage, type Plate, type Sheet } from "../sheet";

const KINDS = ["ball", "hinge", "double_hinge", "swivel", "peg"];

const NUDGES: [string, number, number][] = [
  ["forward", 0, 0.5], ["back", 0, -0.5], ["to its left", 1, 0.5], ["to its right", 1, -0.5], ["up", 2, 0.5], ["down", 2, -0.5],
];

export class JointsPlate implements Plate {
  readonly number = "ii";
  readonly title = "The joints";
  private chosen: string | null = null;
  private moved: { name: string; place: Vector3 } | null = null;
  private section: Section | null = null;
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

  update(sheet: Sheet): void {
    const { state } = sheet;
    void sheet.show("sculpt", `${state.name}${state.height_mm}${state.facing}`).then((fresh) => fresh && this.update(sheet));
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
    fill(sheet.left, el("h2", {}, "Joints"), ...sides.left);
    fill(sheet.right, el("h2", {}, this.chosen ? "" : "Joints, continued"), this.detail(sheet), ...sides.right);
    sheet.leaders.set(leads);
  }

  private note(sheet: Sheet, joint: Joint, number: number): HTMLElement {
    const worst = worstOf(findingsOf(sheet.state.findings, joint.name));
    const reach = Object.entries(joint.reached ?? {}).map(([m, r]) => `${m} ${Math.round(r[0]!)}° to ${Math.round(r[1]!)}°`).join(", ");
    const words = joint.built === false ? "not built" : reach || `${plain(joint.kind)}${joint.size ? `, ${joint.size} mm` : ""}`;
    return el("button", {
      class: "note", id: `joint-${joint.name}`, "aria-pressed": String(joint.name === this.chosen),
      click: () => this.choose(sheet, joint),
    }, el("span", { class: "n" }, String(number)), el("span", {}, plain(joint.name), worst ? " " : null, worst ? el("span", { class: `mark ${worst}`, title: worst }) : null, el("span", { class: "sub" }, words)));
  }

  private choose(sheet: Sheet, joint: Joint): void {
    this.chosen = this.chosen === joint.name ? null : joint.name;
    this.section = null;
    this.update(sheet);
    if (this.chosen) void this.cut(sheet, joint, joint.centre);
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
    const set = (key: string, value: string | number | null) => void sheet.edit([{ path: ["joints", joint.name, key], value }]);
    const kind = el("select", { id: "kind", change: () => set("kind", kind.value) }, ...KINDS.map((k) => el("option", { value: k, selected: k === joint.kind }, plain(k))));
    const size = el("input", { id: "size", type: "number", min: 1, max: 40, step: 0.5, value: joint.size ?? "", change: () => set("size", size.value ? Number(size.value) : null) });
    const yields = el("select", { id: "yields", change: () => set("yields", yields.value) }, ...["child", "parent", "both"].map((y) => el("option", { value: y, selected: y === joint.yields }, y)));
    const nudge = el("div", { id: "nudge" }, ...NUDGES.map(([words, axis, step]) =>
      el("button", {
        class: "word",
        "aria-label": `move ${plain(joint.name)} half a millimetre ${words}`,
        click: () => this.place(sheet, joint, joint.centre.map((v, i) => (i === axis ? v + step : v))),
      }, words)));
    return el("div", {},
      el("h2", {}, plain(joint.name)),
      el("div", { id: "section" }, this.drawn()),
      rows([
        ["lies at", joint.centre.map((v) => v.toFixed(1)).join(", ") + " mm"],
        ["place", joint.source === "hand" ? "set by hand" : joint.source === "skin" ? "from the file" : "found"],
        ["holds", amount(joint.hold_nmm, "N·mm")],
        ["load", amount(joint.load_nmm, "N·mm")],
      ]),
      el("label", {}, el("span", {}, "kind"), kind),
      el("label", {}, el("span", {}, "size, mm (empty: the largest that fits)"), size),
      el("label", {}, el("span", {}, "gives way"), yields),
      el("p", {}, "Drag the joint across the figure, or half a millimetre:"), nudge,
      ...findingsOf(sheet.state.findings, joint.name).filter((f) => f.verdict !== "pass").slice(0, 8).map((f) =>
        el("p", {}, verdict(f.verdict), ` ${f.check}${f.measured === null ? "" : `: ${amount(f.measured, f.unit)}`}${f.target === null ? "" : `, wanted ${amount(f.target, f.unit)}`}. ${f.advice}`)));
  }

  private drawn(): SVGElement | string {
    const cut = this.section;
    if (!cut || !cut.outlines.length) return "";
    const box = svg("svg", { viewBox: "-16 -16 32 32", width: 190, height: 190, role: "img", "aria-label": `the limb cut at the joint; its centre lies ${cut.depth_mm.toFixed(1)} mm deep` });
    for (const ring of cut.outlines) box.append(svg("polygon", { points: ring.map(([x, y]) => `${x},${-y}`).join(" "), fill: "none", stroke: "var(--ink)", "stroke-width": 0.25 }));
    if (cut.depth_mm > 0) box.append(svg("circle", { cx: 0, cy: 0, r: cut.depth_mm, fill: "none", stroke: "var(--faint)", "stroke-width": 0.15, "stroke-dasharray": "0.6 0.5" }));
    box.append(svg("circle", { cx: 0, cy: 0, r: 0.6, fill: "var(--accent)" }));
    const words = svg("text", { x: -15, y: 15, class: "in-section" }, `${cut.depth_mm.toFixed(1)} mm deep: room for about ${(2 * cut.depth_mm * 0.7).toFixed(1)} mm`);
    box.append(words);
    return box;
  }

  private placeOf(joint: Joint): Vector3 {
    return this.moved?.name === joint.name ? this.moved.place : onStage(joint.centre);
  }

  private ink(sheet: Sheet): SVGElement[] {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    if (!joint) return [];
    return Object.keys(joint.reached ?? {}).flatMap((m) => arcInk(sheet.stage, joint, m, { centre: this.placeOf(joint), turn: AT_REST }, 0));
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

  private place(sheet: Sheet, joint: Joint, centre: readonly number[]): void {
    const value = centre.map((v) => Math.round(v * 100) / 100);
    void sheet.edit([{ path: ["joints", joint.name, "centre"], value }]).then((done) => {
      this.moved = null;
      if (done) sheet.say(`${plain(joint.name)} lies at ${value.join(", ")} mm now; make the kit again to measure it`);
      this.update(sheet);
      const fresh = sheet.state.joints.find((j) => j.name === joint.name);
      if (fresh) void this.cut(sheet, fresh, fresh.centre);
    });
  }
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
