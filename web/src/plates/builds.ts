// Plate V: print jobs, and each part as it lies on the plate: where it starts in the air, and the columns below it.
import { Box3, Matrix4, Vector3 } from "three";
import { api, type Lying } from "../api";
import { amount, asked, counted, el, fill, plain, rows, svg, verdict } from "../dom";
import { onStage, type Plate, type Sheet } from "../sheet";

/** Figure coordinates to the stage and back, as moves. */
const TO_STAGE = new Matrix4().set(0, 1, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1);

const KEY_TO_INK =
  "On the figure: a cross is an island, hatching an overhang, a bar a bridge; thin strokes are columns. " +
  "The lines run along the layers, broad where the stairs between layers are deep and the face comes out rough.";

export class BuildsPlate implements Plate {
  readonly number = "v";
  readonly title = "To print";
  private lying: Lying[] = [];
  private loadedFor = "";
  private chosen: string | null = null;
  private stopInk: (() => void) | null = null;

  open(state: { stage: string }): boolean {
    return state.stage === "made";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    this.stopInk = sheet.leaders.also(() => this.ink(sheet));
    this.update(sheet);
  }

  leave(sheet: Sheet): void {
    this.stopInk?.();
    sheet.figure?.layDown(null, null);
    sheet.figure?.layered(null, null);
    sheet.frame();
  }

  update(sheet: Sheet): void {
    const { state } = sheet;
    const key = state.made;
    void sheet.showKit(true).then(() => this.lay(sheet));
    if (this.loadedFor !== key) {
      this.loadedFor = key;
      void sheet.attempt(async () => (this.lying = await api.lying())).then(() => this.update(sheet));
    }
    const hours = (s: number | null) =>
      s === null ? null : `${Math.floor(s / 3600)} h ${Math.round((s % 3600) / 60)} min`;
    fill(
      sheet.left,
      el("h2", {}, "Build plates"),
      ...(state.builds.length ? [] : [el("p", {}, "No build plates are planned yet.")]),
      ...state.builds.map((b) =>
        el(
          "div",
          {},
          el("h3", {}, b.file),
          rows([
            ["parts", String(b.parts.length)],
            ["time", hours(b.time_s)],
            ["material", amount(b.material_g, "g")],
            ["cost", amount(b.cost, "")],
          ]),
        ),
      ),
      el("h2", {}, "How each part lies"),
      ...this.lying.map((p, k) => this.note(sheet, p, k + 1)),
    );
    const part = this.lying.find((p) => p.name === this.chosen);
    fill(sheet.right, ...(part ? this.detail(sheet, part) : this.found(sheet)));
  }

  private note(sheet: Sheet, part: Lying, number: number): HTMLElement {
    const islands = part.spots.filter((s) => s.kind === "island").length;
    const words = [part.lies, counted(islands, "island"), counted(part.columns.length, "column")];
    const choose = () => {
      this.chosen = this.chosen === part.name ? null : part.name;
      this.update(sheet);
    };
    return el(
      "button",
      { class: "note", id: `lies-${part.name}`, "aria-pressed": String(part.name === this.chosen), click: choose },
      el("span", { class: "n" }, String(number)),
      el(
        "span",
        {},
        plain(part.name),
        part.pinned ? " (as you said)" : null,
        el("span", { class: "sub" }, words.join("; ")),
      ),
    );
  }

  private detail(sheet: Sheet, part: Lying): HTMLElement[] {
    const kinds = ["island", "overhang", "bridge"].map((kind): [string, string] => {
      const spots = part.spots.filter((s) => s.kind === kind);
      const area = spots.reduce((sum, s) => sum + (s.area_mm2 ?? 0), 0);
      return [`${kind}s`, spots.length ? `${spots.length}, ${amount(area, "mm²")} in all` : "none"];
    });
    const hard = part.columns.filter((c) => !c.reachable).length;
    const shown = part.columns.filter((c) => c.touches === "show").length;
    const found = sheet.state.findings.filter(
      (f) => f.check.startsWith("print.") && f.subject === part.name && f.verdict !== "pass",
    );
    return [
      el("h2", {}, plain(part.name)),
      el("p", {}, `It lies with ${part.lies}.`),
      rows([
        ["layers", String(part.layers)],
        ["support", amount(part.support_mm3, "mm³")],
        ["roughness", part.rough_um === null ? null : `about ${amount(part.rough_um, "µm Ra", 2)} on what shows`],
        ["tips at", amount(part.tip_deg, "°")],
        ...kinds,
        ["columns", `${part.columns.length}; ${shown} touch what shows; ${hard} out of a tool's reach`],
      ]),
      el("p", { class: "small key" }, KEY_TO_INK),
      ...part.reasons.map((r) => el("p", { class: "small" }, `— ${r}`)),
      part.otherwise.length ? el("h3", {}, "It could also lie") : el("span"),
      ...part.otherwise.map((o) => el("p", { class: "small" }, o)),
      ...found.map((f) => el("p", {}, verdict(f.verdict), ` ${asked(f.check)}: ${f.advice}`)),
    ];
  }

  private found(sheet: Sheet): HTMLElement[] {
    const found = sheet.state.findings.filter((f) => f.check.startsWith("print.") && f.verdict !== "pass");
    return [
      el("h2", {}, "What may fail in printing"),
      ...(found.length
        ? found
            .slice(0, 40)
            .map((f) => el("p", {}, verdict(f.verdict), ` ${plain(f.subject)} (${asked(f.check)}): ${f.advice}`))
        : [el("p", {}, "Nothing was found.")]),
    ];
  }

  /** The chosen part alone, laid as on the plate; else the kit apart. */
  private lay(sheet: Sheet): void {
    const { figure } = sheet;
    if (!figure) return;
    const part = this.lying.find((p) => p.name === this.chosen);
    figure.pose(sheet.state.joints, new Map());
    figure.apart(part ? 0 : 0.6);
    figure.layDown(part?.name ?? null, part ? this.onPlate(part) : null);
    // A part's vertices are in figure coordinates; the last row but one of the move is its up there.
    figure.layered(part?.name ?? null, part ? new Vector3(...part.transform[2]!.slice(0, 3)) : null);
    if (part) sheet.stage.frame(figure.parts.get(part.name)!, 1.4);
    else sheet.frame();
  }

  /** From the stage at rest to the stage with the part on its plate: z of the build is up. */
  private onPlate(part: Lying): Matrix4 {
    const move = new Matrix4().set(...(part.transform.flat() as Parameters<Matrix4["set"]>));
    return TO_STAGE.clone().multiply(move).multiply(TO_STAGE.clone().invert());
  }

  /** The edge of a piece of the plate below the part, so that one sees what is down. */
  private plate(sheet: Sheet): SVGElement[] {
    const mesh = sheet.figure?.parts.get(this.chosen ?? "");
    if (!mesh) return [];
    const box = new Box3().setFromObject(mesh);
    const edge = 0.12 * Math.max(box.max.x - box.min.x, box.max.z - box.min.z);
    const [x0, x1, z0, z1] = [box.min.x - edge, box.max.x + edge, box.min.z - edge, box.max.z + edge];
    const corners = [
      [x0, z0],
      [x1, z0],
      [x1, z1],
      [x0, z1],
    ].map(([x, z]) => sheet.stage.seen(new Vector3(x, 0, z)));
    const points = corners.filter((p) => p !== null).map((p) => `${p.x.toFixed(1)},${p.y.toFixed(1)}`);
    return [svg("polygon", { class: "plate", points: points.join(" ") })];
  }

  private ink(sheet: Sheet): SVGElement[] {
    const part = this.lying.find((p) => p.name === this.chosen);
    if (!part || !sheet.figure) return [];
    const move = this.onPlate(part);
    const seen = (p: Vector3) => sheet.stage.seen(p);
    const out: SVGElement[] = [];
    out.push(...this.plate(sheet));
    for (const column of part.columns) {
      const [x, y] = column.top;
      const [top, foot] = [seen(onStage(column.top)), seen(onStage([x, y, column.foot_mm]))];
      if (top && foot) out.push(svg("line", { class: "column", x1: top.x, y1: top.y, x2: foot.x, y2: foot.y }));
    }
    for (const spot of part.spots) {
      const at = seen(onStage(spot.place).applyMatrix4(move));
      if (!at) continue;
      const size = Math.max(3, Math.min(12, Math.sqrt(spot.area_mm2 ?? 1) * 2));
      out.push(...mark(spot.kind, at.x, at.y, size));
    }
    return out;
  }
}

function mark(kind: string, x: number, y: number, size: number): SVGElement[] {
  const line = (x1: number, y1: number, x2: number, y2: number) => svg("line", { class: "spot", x1, y1, x2, y2 });
  if (kind === "island") return [line(x - 4, y - 4, x + 4, y + 4), line(x - 4, y + 4, x + 4, y - 4)];
  if (kind === "bridge") return [line(x - size, y, x + size, y)];
  const out: SVGElement[] = [];
  for (let k = -size; k <= size; k += 3) out.push(line(x + k - 2, y + 3, x + k + 2, y - 3));
  return out;
}
