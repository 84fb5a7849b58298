// Plate IV: poses, by dragging a hand or a foot, or joint by joint, inside what was measured free.
import { Plane, Vector3 } from "three";
import type { Joint } from "../api";
import { arcInk } from "../arcs";
import { amount, el, fill, plain, rows } from "../dom";
import type { Angles } from "../figure";
import { follow, get, set } from "../ik";
import type { Plate, Sheet } from "../sheet";

export class PosesPlate implements Plate {
  readonly number = "iv";
  readonly title = "Poses";
  private readonly angles: Angles = new Map();
  private chosen: string | null = null;
  private stopInk: (() => void) | null = null;

  open(state: { stage: string }): boolean {
    return state.stage === "made";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    sheet.stage.held = (event) => this.take(sheet, event);
    this.stopInk = sheet.leaders.also(() => this.ink(sheet));
    this.update(sheet);
  }

  leave(sheet: Sheet): void {
    this.stopInk?.();
    sheet.stage.held = null;
    sheet.figure?.pose(sheet.state.joints, new Map());
  }

  update(sheet: Sheet): void {
    const { state } = sheet;
    void sheet.show("figure", state.revision + state.fresh).then(() => {
      sheet.figure?.apart(0);
      sheet.figure?.pose(state.joints, this.angles);
      sheet.stage.ask();
    });
    const built = state.joints.filter((j) => j.built);
    fill(sheet.left, el("h2", {}, "Joints"), el("p", {}, "Drag a hand, a foot or the head; or choose a joint."), ...built.map((j) => this.note(sheet, j)));
    fill(sheet.right, this.chosenJoint(sheet), el("hr", { class: "paperline" }), el("h2", {}, "Poses of the file"),
      state.poses.length ? el("div", {}, ...state.poses.map((p) => el("div", {}, el("h3", {}, plain(p.name)), rows([
        ["stands", p.stands === null ? "not known" : p.stands ? "yes" : "no"],
        ["tips at", amount(p.tip_deg, "°")],
        ["margin", amount(p.margin_mm, "mm")],
        ["weakest joint", p.weakest_joint ? plain(p.weakest_joint) : null],
      ])))) : el("p", {}, "None yet."),
      el("hr", { class: "paperline" }),
      el("label", {}, el("span", {}, "name of this pose"), el("input", { id: "pose-name", maxlength: 80 })),
      el("button", { id: "keep-pose", click: () => this.keep(sheet) }, "Write this pose into the figure file"),
      el("br"),
      el("button", { id: "at-rest", click: () => (this.angles.clear(), this.update(sheet)) }, "Back to the sculpt's own pose"));
  }

  private note(sheet: Sheet, joint: Joint): HTMLElement {
    const turns = [...(this.angles.get(joint.name) ?? new Map())].filter(([, v]) => Math.abs(v) > 0.5).map(([m, v]) => `${m} ${Math.round(v)}°`);
    return el("button", { class: "note", id: `pose-${joint.name}`, "aria-pressed": String(joint.name === this.chosen), click: () => ((this.chosen = joint.name), this.update(sheet)) },
      el("span", { class: "n" }, String(sheet.state.joints.indexOf(joint) + 1)), el("span", {}, plain(joint.name), el("span", { class: "sub" }, turns.join(", ") || "at rest")));
  }

  private chosenJoint(sheet: Sheet): HTMLElement {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    if (!joint) return el("p", {}, "No joint is chosen.");
    const sliders = Object.entries(joint.reached ?? {}).map(([motion, range]) => {
      const words = el("span", {}, "");
      const tell = () => {
        const now = get(this.angles, joint.name, motion) ?? 0;
        const stop = joint.stopped_by?.[motion];
        const atEnd = now >= range[1]! - 0.5 || now <= range[0]! + 0.5;
        words.textContent = `${motion} ${Math.round(now)}°${atEnd && stop ? `, stopped: ${plain(stop)}` : ""}`;
      };
      const slider = el("input", {
        type: "range", id: `turn-${motion}`, min: range[0]!, max: range[1]!, step: 0.5, value: get(this.angles, joint.name, motion) ?? 0, "aria-label": `${plain(joint.name)}, ${motion}, degrees`,
        input: () => {
          set(this.angles, joint.name, motion, Number(slider.value), range);
          sheet.figure?.pose(sheet.state.joints, this.angles);
          tell();
          sheet.stage.ask();
        },
      });
      tell();
      return el("label", {}, words, slider);
    });
    return el("div", {}, el("h2", {}, plain(joint.name)), ...sliders,
      rows([["holds", amount(joint.hold_nmm, "N·mm")], ["greatest load", amount(joint.load_nmm, "N·mm")],
        ["droops", joint.hold_nmm && joint.load_nmm ? (joint.hold_nmm < joint.load_nmm ? "yes" : joint.hold_nmm < 2 * joint.load_nmm ? "perhaps" : "no") : null]]));
  }

  private ink(sheet: Sheet): SVGElement[] {
    const joint = sheet.state.joints.find((j) => j.name === this.chosen);
    const node = joint && sheet.figure?.nodes.get(joint.name);
    if (!joint || !node) return [];
    const centre = node.getWorldPosition(new Vector3());
    return Object.keys(joint.reached ?? {}).flatMap((m) => arcInk(sheet.stage, joint, m, centre, get(this.angles, joint.name, m) ?? 0));
  }

  /** A drag that begins on a part brings that place of it along, in the plane that faces the eye. */
  private take(sheet: Sheet, event: PointerEvent): boolean {
    const { figure, stage } = sheet;
    if (!figure) return false;
    const canvas = event.target as HTMLElement;
    const box = canvas.getBoundingClientRect();
    const hit = stage.under(event.clientX - box.left, event.clientY - box.top, [...figure.parts.values()]);
    const part = hit?.object.userData["part"] as string | undefined;
    const joint = sheet.state.joints.find((j) => j.built && (j.child === part || `${j.name}_link` === part));
    if (!hit || !part || !joint) return false;
    const point = hit.object.worldToLocal(hit.point.clone());
    const plane = new Plane().setFromNormalAndCoplanarPoint(stage.camera.getWorldDirection(new Vector3()), hit.point);
    canvas.setPointerCapture(event.pointerId);
    const move = (e: PointerEvent) => {
      const goal = stage.ray(e.clientX - box.left, e.clientY - box.top).ray.intersectPlane(plane, new Vector3());
      if (!goal) return;
      follow(figure, sheet.state.joints, this.angles, part, point, goal);
      stage.ask();
    };
    const end = () => {
      canvas.removeEventListener("pointermove", move);
      this.chosen = joint.name;
      this.update(sheet);
    };
    canvas.addEventListener("pointermove", move);
    canvas.addEventListener("pointerup", end, { once: true });
    canvas.addEventListener("pointercancel", end, { once: true });
    return true;
  }

  private keep(sheet: Sheet): void {
    const name = (document.getElementById("pose-name") as HTMLInputElement).value.trim();
    if (!name) return sheet.say("give the pose a name first");
    void sheet.attempt(() => sheet.keepPose(name, this.angles)).then((done) => {
      if (done) sheet.say(`${name} is in the figure file; make the kit again to have it proved`);
    });
  }
}
