// What every plate works on: the state, the stage, the figure on it, the margins, and the line at the foot.
import { Vector3 } from "three";
import { api, type Change, type SceneName, type State, Told } from "./api";
import { Figure } from "./figure";
import { type Inks, inksOf } from "./ink";
import { Leaders } from "./leaders";
import { Stage } from "./stage";

export interface Plate {
  readonly number: string;
  readonly title: string;
  /** Whether it can be turned to yet. */
  open(state: State): boolean;
  enter(sheet: Sheet): void;
  update(sheet: Sheet): void;
  leave(sheet: Sheet): void;
}

/** Figure coordinates (x forward, y left, z up) to the stage's (x left, y up, z towards its front view). */
export const onStage = (p: readonly number[]): Vector3 => new Vector3(p[1], p[2], p[0]);
export const inFigure = (p: Vector3): [number, number, number] => [p.z, p.x, p.y];

export class Sheet {
  readonly stage: Stage;
  readonly left = document.getElementById("left")!;
  readonly right = document.getElementById("right")!;
  readonly leaders: Leaders;
  readonly inks: Inks;
  state: State;
  figure: Figure | null = null;
  private shown = "";
  private coming = "";

  /** ``early``: the made kit, where it was asked for before the state was known. */
  constructor(
    state: State,
    private early: Promise<ArrayBuffer | null> | null,
  ) {
    this.state = state;
    this.inks = inksOf(document.documentElement);
    this.stage = new Stage(document.getElementById("view") as HTMLCanvasElement);
    this.leaders = new Leaders(this.stage, document.getElementById("ink") as unknown as SVGSVGElement);
    this.stage.onCoarse = (coarse) => this.figure?.coarse(coarse);
    this.stage.onSize((w, h) => this.figure?.resize(w, h));
  }

  say(words: string): void {
    const said = document.getElementById("said")!;
    said.className = "";
    said.textContent = words;
  }

  trouble(error: unknown): void {
    const said = document.getElementById("said")!;
    said.className = "trouble";
    if (error instanceof Told) {
      const hint = error.hint ? ` — ${error.hint}` : "";
      const place = error.place ? ` (${error.place})` : "";
      said.textContent = `${error.message}${place}${hint}`;
    } else {
      said.textContent = error instanceof Error ? error.message : String(error);
    }
  }

  /** Do something that may fail, and say so when it does. */
  async attempt(work: () => Promise<unknown>): Promise<boolean> {
    try {
      await work();
      return true;
    } catch (error) {
      this.trouble(error);
      return false;
    }
  }

  edit(changes: Change[]): Promise<boolean> {
    return this.attempt(async () => {
      this.state = await api.edit(this.state.revision, changes);
    });
  }

  /** Write a pose into the figure file: angles in degrees from the human zero, as the file counts them. */
  async keepPose(name: string, angles: Map<string, Map<string, number>>): Promise<void> {
    const joints: Record<string, Record<string, number>> = {};
    for (const [joint, turns] of angles) {
      const moved = [...turns].filter(([, v]) => Math.abs(v) > 0.05);
      if (moved.length) joints[joint] = Object.fromEntries(moved.map(([m, v]) => [m, Math.round(v * 10) / 10]));
    }
    this.state = await api.keepPose(this.state.revision, name, joints);
  }

  /** Bring all of the figure into view. */
  frame(): void {
    if (this.figure) this.stage.frame(this.figure.root);
  }

  /** Put the kit on the stage: as it was cut since for a joint that was moved, or ``made``, as its files have it. */
  showKit(made = false): Promise<boolean> {
    const { state } = this;
    const moved = !made && !state.fresh && state.live?.joints.length;
    return moved ? this.show("live", `${state.live!.stamp}`) : this.show("figure", `${state.made}`);
  }

  showSculpt(): Promise<boolean> {
    const { state } = this;
    return this.show("sculpt", `${state.name}${state.height_mm}${state.facing}`);
  }

  /** Put a scene on the stage; nothing is loaded twice. Whether something new is there. */
  private async show(name: SceneName, key: string): Promise<boolean> {
    const wanted = `${name}:${key}`;
    if (this.shown === wanted) return false;
    this.coming = wanted;
    let data: ArrayBuffer;
    try {
      const early = name === "figure" ? await this.early : null;
      this.early = null;
      data = early ?? (await api.scene(name));
    } catch {
      return false;
    }
    if (this.coming !== wanted || data.byteLength === 0) return false;
    const fresh = await Figure.from(data, this.inks);
    const first = this.figure === null;
    if (this.figure) {
      this.stage.scene.remove(this.figure.root);
      this.figure.dispose();
    }
    this.figure = fresh;
    this.shown = wanted;
    fresh.resize(this.stage.width, this.stage.height);
    fresh.coarse(this.stage.coarse);
    this.stage.scene.add(fresh.root);
    if (first) this.stage.frame(fresh.root);
    this.stage.ask();
    await new Promise(requestAnimationFrame);
    document.getElementById("view")!.dataset["shown"] = name;
    return true;
  }
}
