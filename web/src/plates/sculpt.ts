// Plate I: a sculpt is dropped, its height said, its front found by turning it.
import { api } from "../api";
import { el, fill } from "../dom";
import type { Plate, Sheet } from "../sheet";

const AXES = ["x", "-x", "y", "-y", "z", "-z"];

export class SculptPlate implements Plate {
  readonly number = "i";
  readonly title = "The sculpt";
  private file = "";
  /** What was said already stays when the page is drawn anew. */
  private readonly said: { height?: number; skeleton?: string; up?: string; facing?: string } = {};

  open(): boolean {
    return true;
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    this.update(sheet);
  }

  update(sheet: Sheet): void {
    const { state } = sheet;
    if (state.stage !== "empty") void sheet.showSculpt().then(() => sheet.figure?.apart(0));
    fill(sheet.left, this.dropping(sheet), state.stage === "empty" ? null : this.known(sheet));
    fill(sheet.right, this.saying(sheet));
  }

  leave(): void {}

  private dropping(sheet: Sheet): HTMLElement {
    const chooser = el("input", {
      type: "file",
      id: "sculpt-file",
      accept: ".stl,.obj,.ply,.glb,.gltf,.3mf",
      hidden: true,
    });
    const take = (file: File | undefined) => {
      if (!file) return;
      void sheet.attempt(async () => {
        this.file = await api.sculpt(file, (share) => sheet.say(`bringing ${file.name}: ${Math.round(100 * share)} %`));
        sheet.say(`${this.file} is here: say how tall the figure shall be, and begin`);
        this.update(sheet);
      });
    };
    chooser.addEventListener("change", () => take(chooser.files?.[0]));
    const drop = el(
      "button",
      { class: "drop", id: "drop", click: () => chooser.click() },
      this.file || "Drop a sculpt here, or choose a file",
    );
    drop.addEventListener("dragover", (e) => (e.preventDefault(), drop.classList.add("over")));
    drop.addEventListener("dragleave", () => drop.classList.remove("over"));
    drop.addEventListener("drop", (e) => {
      e.preventDefault();
      drop.classList.remove("over");
      take(e.dataTransfer?.files[0]);
    });
    return el(
      "div",
      {},
      el("h2", {}, "A new sculpt"),
      drop,
      chooser,
      el("p", {}, "STL, OBJ, PLY, GLB, glTF or 3MF, standing or turned any way; small holes are closed and told."),
    );
  }

  private saying(sheet: Sheet): HTMLElement {
    const { said } = this;
    const height = el("input", {
      type: "number",
      id: "height",
      min: 20,
      max: 2000,
      step: 1,
      value: said.height ?? sheet.state.height_mm ?? 150,
      input: () => (said.height = Number(height.value)),
    });
    const pick = (id: "skeleton" | "up" | "facing", choices: [string, string][]) => {
      const options = choices.map(([value, words]) => el("option", { value, selected: value === said[id] }, words));
      const select = el("select", { id, change: () => (said[id] = select.value) }, ...options);
      return select;
    };
    const axes: [string, string][] = [["", "found"], ...AXES.map((a): [string, string] => [a, a])];
    const [up, facing] = [pick("up", axes), pick("facing", axes)];
    const skeleton = pick(
      "skeleton",
      sheet.state.skeletons.map((name) => [name, name]),
    );
    const begin = el(
      "button",
      {
        id: "begin",
        click: () =>
          void sheet.attempt(() =>
            api.begin({
              sculpt: this.file,
              height_mm: Number(height.value),
              skeleton: skeleton.value,
              up: up.value || null,
              facing: facing.value || null,
              unit: null,
            }),
          ),
      },
      "Begin the figure",
    );
    begin.disabled = !this.file || sheet.state.job !== null;
    return el(
      "div",
      {},
      el("h2", {}, "What is said of it"),
      el("label", {}, el("span", {}, "height, mm"), height),
      el("label", {}, el("span", {}, "skeleton"), skeleton),
      el("label", {}, el("span", {}, "axis that points up"), up),
      el("label", {}, el("span", {}, "axis it faces"), facing),
      begin,
    );
  }

  private known(sheet: Sheet): HTMLElement {
    const { state } = sheet;
    const front = el("button", { id: "front", click: () => this.front(sheet) }, "What I see now is its front");
    front.disabled = state.job !== null || !state.facing || !state.up;
    return el(
      "div",
      {},
      el("hr", { class: "paperline" }),
      el("p", {}, `${state.name}, ${state.height_mm} mm, is on the stage. A new sculpt takes its place.`),
      el(
        "p",
        {},
        `Up is ${state.up ?? "found"} and forward ${state.facing ?? "found"} of its file. `,
        "Does it look the wrong way? Turn it until its face is towards you:",
      ),
      front,
    );
  }

  /** The view's own quarter turn, as an axis of the sculpt's file: the joints are found again from there. */
  private front(sheet: Sheet): void {
    const { state } = sheet;
    const facing = turned(state.up!, state.facing!, Math.round(sheet.stage.facing / (Math.PI / 2)));
    if (facing === state.facing) return sheet.say("it looks this way already");
    void sheet
      .attempt(() =>
        api.begin({
          sculpt: state.sculpt,
          height_mm: state.height_mm ?? 150,
          skeleton: state.skeleton,
          up: state.up,
          facing,
          unit: null,
        }),
      )
      .then(
        (done) =>
          done &&
          (sheet.stage.look(0.45, 0.1), sheet.say(`it faces ${facing} of its file now; its joints are found again`)),
      );
  }
}

/** The signed axis that lies quarter turns to the left of the one a figure faces, about the one that points up. */
export function turned(up: string, facing: string, quarters: number): string {
  const vector = (name: string) => ["x", "y", "z"].map((a) => (name.endsWith(a) ? (name.startsWith("-") ? -1 : 1) : 0));
  const [u, f] = [vector(up), vector(facing)] as [number[], number[]];
  const left = [0, 1, 2].map((k) => u[(k + 1) % 3]! * f[(k + 2) % 3]! - u[(k + 2) % 3]! * f[(k + 1) % 3]!);
  const quarter = ((quarters % 4) + 4) % 4;
  const out = [f, left, f.map((v) => -v), left.map((v) => -v)][quarter]!;
  const axis = out.findIndex((v) => v !== 0);
  return `${out[axis]! < 0 ? "-" : ""}${"xyz"[axis]}`;
}
