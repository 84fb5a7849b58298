// Plate VII: everything that is taken away: the book, the kit's files.
import { api } from "../api";
import { el, fill } from "../dom";
import type { Plate, Sheet } from "../sheet";

export class PapersPlate implements Plate {
  readonly number = "vii";
  readonly title = "Papers and files";

  open(state: { stage: string }): boolean {
    return state.stage === "made";
  }

  enter(sheet: Sheet): void {
    sheet.leaders.set([]);
    this.update(sheet);
  }

  leave(): void {}

  update(sheet: Sheet): void {
    const files = sheet.state.files;
    void sheet.showKit().then(() => sheet.figure?.apart(0));
    const take = (name: string) =>
      el(
        "div",
        {},
        el(
          "button",
          { id: `file-${name.replaceAll(/\W/g, "-")}`, click: () => void sheet.attempt(() => save(name)) },
          name,
        ),
      );
    const whole = files.filter((f) => !f.includes("/"));
    const rest = files.filter((f) => f.includes("/"));
    fill(sheet.left, el("h2", {}, "Papers"), ...whole.map(take));
    fill(sheet.right, el("h2", {}, "Parts and plates"), ...rest.map(take));
  }
}

async function save(name: string): Promise<void> {
  const data = await api.file(name);
  const address = URL.createObjectURL(data);
  const link = el("a", { href: address, download: name.split("/").pop() ?? name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}
