// Plate V: print jobs, and what was found about printing.
import { amount, el, fill, plain, rows, verdict } from "../dom";
import type { Plate, Sheet } from "../sheet";

export class BuildsPlate implements Plate {
  readonly number = "v";
  readonly title = "To print";

  open(state: { stage: string }): boolean {
    return state.stage === "made";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    this.update(sheet);
  }

  leave(): void {}

  update(sheet: Sheet): void {
    const { state } = sheet;
    void sheet.show("figure", state.revision + state.fresh).then(() => sheet.figure?.apart(0.6));
    const hours = (s: number | null) => (s === null ? null : `${Math.floor(s / 3600)} h ${Math.round((s % 3600) / 60)} min`);
    fill(sheet.left, el("h2", {}, "Plates"), ...(state.builds.length ? state.builds.map((b) => el("div", {}, el("h3", {}, b.file), rows([
      ["parts", b.parts.map(plain).join(", ")], ["time", hours(b.time_s)], ["material", amount(b.material_g, "g")], ["cost", amount(b.cost, "")],
    ]))) : [el("p", {}, "No plates are planned yet.")]));
    const found = state.findings.filter((f) => f.check.startsWith("print.") && f.verdict !== "pass");
    fill(sheet.right, el("h2", {}, "What may fail in printing"), ...(found.length ? found.map((f) => el("p", {}, verdict(f.verdict), ` ${plain(f.subject)}, ${f.check}: ${f.advice}`)) : [el("p", {}, "Nothing was found.")]));
  }
}
