// Plate IV: poses, by dragging a hand or a foot, or joint by joint, inside what was measured free.
import { Vector3 } from "three";
import { api, COPY, type Finding, type Joint, type SolvedPose, type Trial } from "../api";
import { arcInk } from "../arcs";
import { amount, el, fill, plain, rows, svg, verdict } from "../dom";
import type { Angles } from "../figure";
import { get, set } from "../ik";
import { onStage, type Plate, type Sheet } from "../sheet";
import { seatOf, takeHold } from "./holding";
import { findingsOf } from "./joints";

const meets = (c: Trial["contacts"][number], number: number): string => {
  const gap = `${amount(Math.max(0, c.gap_mm), "mm")} apart, ${amount(c.keep_mm, "mm")} wanted`;
  return `${number}. ${plain(c.first)} meets ${plain(c.second)} (${gap})`;
};

const widest = (f: Finding): string =>
  `opens ${amount(f.measured, f.unit)}${f.target === null ? "" : `, at most ${amount(f.target, f.unit)} wanted`}`;

export class PosesPlate implements Plate {
  readonly number = "iv";
  readonly title = "Poses";
  readonly angles: Angles = new Map();
  chosen: string | null = null;
  private solved: SolvedPose[] = [];
  private solvedFor = "";
  private waiting = false;
  private asking = false;
  private trial: Trial | null = null;
  private stopInk: (() => void) | null = null;

  open(state: { stage: string }): boolean {
    return state.stage === "made";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    sheet.stage.held = (event) => takeHold(sheet, this, event);
    this.stopInk = sheet.leaders.also(() => this.ink(sheet));
    this.update(sheet);
  }

  leave(sheet: Sheet): void {
    this.stopInk?.();
    sheet.stage.held = null;
    sheet.figure?.pose(sheet.state.joints, new Map());
  }

  /** News of the pose that was tried. */
  tried(sheet: Sheet, trial: Trial): void {
    this.trial = this.waiting ? null : trial;
    if (this.waiting) this.ask(sheet);
    this.tell(sheet);
    sheet.stage.ask();
  }

  update(sheet: Sheet): void {
    const { state } = sheet;
    void sheet.showKit().then(() => {
      sheet.figure?.apart(0);
      sheet.figure?.pose(state.joints, this.angles);
      sheet.stage.ask();
    });
    if (this.waiting && !state.job) this.ask(sheet);
    if (this.solvedFor !== state.revision + state.made) void this.load(sheet);
    const built = state.joints.filter((j) => j.built);
    fill(
      sheet.left,
      el("h2", {}, "Joints"),
      el("p", {}, "Drag a hand, a foot or the head, or the pointer of an arc; or choose a joint."),
      ...built.map((j) => this.note(sheet, j)),
    );
    const name = el("input", { id: "pose-name", maxlength: 80 });
    fill(
      sheet.right,
      el("div", { id: "tried" }),
      this.chosenJoint(sheet),
      el("hr", { class: "paperline" }),
      el("h2", {}, "Poses of the file"),
      ...this.poses(sheet),
      el("hr", { class: "paperline" }),
      COPY ? null : el("label", {}, el("span", {}, "name of this pose"), name),
      COPY
        ? null
        : el("button", { id: "keep-pose", click: () => this.keep(sheet, name.value) }, "Write it into the figure file"),
      el("br"),
      el("button", { id: "at-rest", click: () => this.take(sheet, {}) }, "Back to the sculpt's own pose"),
    );
    this.tell(sheet);
  }

  /** After a hand let go: what is found of this pose, on the kit itself. */
  release(sheet: Sheet): void {
    this.trial = null;
    this.update(sheet);
    this.ask(sheet);
  }

  /** Try the pose in hand; while other work runs it waits, and only the last one is tried. */
  private ask(sheet: Sheet): void {
    if (COPY || !sheet.state.fresh) return;
    this.waiting = sheet.state.job !== null || this.asking;
    if (this.waiting) return;
    this.asking = true;
    const joints = Object.fromEntries([...this.angles].map(([j, turns]) => [j, Object.fromEntries(turns)]));
    void sheet.attempt(async () => (sheet.state = await api.tryPose(joints))).then(() => (this.asking = false));
  }

  private async load(sheet: Sheet): Promise<void> {
    this.solvedFor = sheet.state.revision + sheet.state.made;
    if (await sheet.attempt(async () => (this.solved = await api.poses()))) this.update(sheet);
  }

  private poses(sheet: Sheet): HTMLElement[] {
    const { poses } = sheet.state;
    if (!poses.length) return [el("p", {}, "None yet.")];
    return poses.map((p) => {
      const solved = this.solved.find((s) => s.name === p.name);
      const stands =
        p.stands === null
          ? "not known"
          : p.stands
            ? `stands, tips at ${amount(p.tip_deg, "°")}`
            : "does not stand by itself";
      const weak = p.weakest_joint ? `${plain(p.weakest_joint)} gives way first` : "";
      const take = el(
        "button",
        {
          class: "note pose",
          id: `take-${p.name.replaceAll(/\W/g, "-")}`,
          click: () => this.take(sheet, solved?.joints ?? {}),
        },
        el("span", { class: "n" }, p.stands === null ? "?" : p.stands ? "⊥" : "∕"),
        el("span", {}, plain(p.name), el("span", { class: "sub" }, [stands, weak].filter(Boolean).join("; "))),
      );
      const changes = solved?.changes ?? [];
      const told = el("details", {}, el("summary", {}, `${changes.length} changes to what was asked`));
      told.append(...changes.map((c) => el("p", { class: "small" }, c)));
      return el("div", {}, take, changes.length ? told : null);
    });
  }

  private take(sheet: Sheet, joints: Record<string, Record<string, number>>): void {
    this.angles.clear();
    for (const [joint, turns] of Object.entries(joints)) this.angles.set(joint, new Map(Object.entries(turns)));
    this.release(sheet);
  }

  private note(sheet: Sheet, joint: Joint): HTMLElement {
    const turns = [...(this.angles.get(joint.name) ?? new Map<string, number>())]
      .filter(([, v]) => Math.abs(v) > 0.5)
      .map(([m, v]) => `${m} ${Math.round(v)}°`);
    const choose = () => {
      this.chosen = joint.name;
      this.update(sheet);
    };
    return el(
      "button",
      { class: "note", id: `pose-${joint.name}`, "aria-pressed": String(joint.name === this.chosen), click: choose },
      el("span", { class: "n" }, String(sheet.state.joints.indexOf(joint) + 1)),
      el("span", {}, plain(joint.name), el("span", { class: "sub" }, turns.join(", ") || "at rest")),
    );
  }

  private chosenJoint(sheet: Sheet): HTMLElement {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    if (!joint) return el("p", {}, "No joint is chosen.");
    const turns = Object.entries(joint.reached ?? {}).map(([motion, range]) => this.turn(sheet, joint, motion, range));
    return el(
      "div",
      {},
      el("h2", {}, plain(joint.name)),
      ...turns,
      rows([["holds", amount(joint.hold_nmm, "N·mm")]]),
      ...this.gaps(sheet).map((f, k) =>
        el("p", { class: "small" }, verdict(f.verdict), ` gap ${k + 1}: ${widest(f)}. ${f.advice}`),
      ),
    );
  }

  /** Gaps that the chosen joint opens when it is bent. */
  private gaps(sheet: Sheet): Finding[] {
    return findingsOf(sheet.state.findings, this.chosen ?? "").filter((f) => f.check === "move.gap");
  }

  private turn(sheet: Sheet, joint: Joint, motion: string, range: readonly number[]): HTMLElement {
    const words = el("span", {}, "");
    const tell = () => {
      const now = get(this.angles, joint.name, motion) ?? 0;
      const stop = joint.stopped_by?.[motion];
      const atEnd = now >= range[1]! - 0.5 || now <= range[0]! + 0.5;
      words.textContent = `${motion} ${Math.round(now)}°${atEnd && stop ? `, stopped: ${plain(stop)}` : ""}`;
    };
    const slider = el("input", {
      type: "range",
      id: `turn-${motion}`,
      min: range[0]!,
      max: range[1]!,
      step: 0.5,
      value: get(this.angles, joint.name, motion) ?? 0,
      "aria-label": `${plain(joint.name)}, ${motion}, degrees`,
      change: () => this.release(sheet),
      input: () => {
        set(this.angles, joint.name, motion, Number(slider.value), range);
        sheet.figure?.pose(sheet.state.joints, this.angles);
        tell();
        sheet.stage.ask();
      },
    });
    tell();
    return el("label", {}, words, slider);
  }

  /** What was found of the pose in hand: contact, standing, and the joint that gives way first. */
  private tell(sheet: Sheet): void {
    const place = document.getElementById("tried");
    if (!place) return;
    const { trial } = this;
    if (!trial)
      return fill(
        place,
        sheet.state.job?.kind === "pose" ? el("p", {}, "This pose is being tried on the kit …") : null,
      );
    const unknown = sheet.state.joints.filter((j) => j.built && j.hold_nmm == null && j.kind !== "peg").length;
    const droops = sheet.state.joints
      .filter((j) => j.hold_nmm != null && (trial.loads_nmm[j.name] ?? 0) > j.hold_nmm)
      .map(
        (j) =>
          `${plain(j.name)}: ${amount(trial.loads_nmm[j.name], "N·mm")} on a hold of ${amount(j.hold_nmm, "N·mm")}`,
      );
    fill(
      place,
      el("h2", {}, "This pose"),
      el(
        "p",
        {},
        trial.stands
          ? `It stands: tips at ${amount(trial.tip_deg, "°")}, ${amount(trial.margin_mm, "mm")} inside its feet.`
          : "It does not stand by itself.",
      ),
      ...(trial.contacts.length
        ? trial.contacts.slice(0, 6).map((c, k) => el("p", {}, meets(c, k + 1)))
        : [el("p", {}, "No parts meet.")]),
      el(
        "p",
        {},
        droops.length
          ? `Droops: ${droops.join("; ")}.`
          : "None of the joints whose hold is known droops under its own weight, held by the trunk.",
        unknown ? ` The hold of ${unknown} is not known.` : "",
      ),
      el("hr", { class: "paperline" }),
    );
  }

  private ink(sheet: Sheet): SVGElement[] {
    const out: SVGElement[] = [];
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    const seat = joint && seatOf(sheet, joint);
    if (joint && seat) {
      for (const m of Object.keys(joint.reached ?? {}))
        out.push(...arcInk(sheet.stage, joint, m, seat, get(this.angles, joint.name, m) ?? 0));
    }
    const node = joint ? sheet.figure?.nodes.get(joint.name) : undefined;
    this.gaps(sheet).forEach((f, k) => {
      const at = f.place && node ? sheet.stage.seen(node.localToWorld(fromCentre(joint!, f.place))) : null;
      if (!at) return;
      out.push(svg("ellipse", { class: "gap", cx: at.x, cy: at.y, rx: 9, ry: 4 }));
      out.push(svg("text", { class: "on-figure", x: at.x + 12, y: at.y + 4 }, `gap ${k + 1}`));
    });
    this.trial?.contacts.slice(0, 6).forEach((contact, k) => {
      const at = sheet.stage.seen(onStage(contact.place).clone() as Vector3);
      if (!at) return;
      for (const turn of [45, 135]) {
        const [dx, dy] = [7 * Math.cos((turn * Math.PI) / 180), 7 * Math.sin((turn * Math.PI) / 180)];
        out.push(svg("line", { class: "meets", x1: at.x - dx, y1: at.y - dy, x2: at.x + dx, y2: at.y + dy }));
      }
      out.push(svg("text", { class: "on-figure", x: at.x + 9, y: at.y + 4 }, `${k + 1}`));
    });
    return out;
  }

  private keep(sheet: Sheet, typed: string): void {
    const name = typed.trim();
    if (!name) return sheet.say("give the pose a name first");
    void sheet
      .attempt(() => sheet.keepPose(name, this.angles))
      .then((done) => {
        if (done) sheet.say(`${name} is in the figure file; make the kit again to have it proved`);
      });
  }
}

/** A place on the moving side, from the joint's centre, in its node's own axes. */
function fromCentre(joint: Joint, place: readonly number[]): Vector3 {
  return new Vector3(place[0]! - joint.centre[0], place[1]! - joint.centre[1], place[2]! - joint.centre[2]);
}
