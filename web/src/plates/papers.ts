// Plate VII: everything that is taken away: the book, the kit's files.
import { api } from "../api";
import { el, fill } from "../dom";
import type { Plate, Sheet } from "../sheet";

const BOOK = "book.pdf";

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
    void sheet.showKit(true).then(() => sheet.figure?.apart(0));
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
    const read = el("button", { id: "open-book", click: () => void sheet.attempt(openBook) }, "Open the book");
    fill(sheet.left, el("h2", {}, "Papers"), files.includes(BOOK) ? el("p", {}, read) : null, ...whole.map(take));
    fill(sheet.right, el("h2", {}, "Parts and build plates"), ...rest.map(take));
  }
}

/** The book beside this page. The new page is opened at once, since browsers let only a click itself do so. */
async function openBook(): Promise<void> {
  const page = window.open("", "_blank");
  try {
    const data = await api.file(BOOK);
    const address = URL.createObjectURL(new Blob([data], { type: "application/pdf" }));
    if (page) page.location.href = address;
    else location.href = address;
    setTimeout(() => URL.revokeObjectURL(address), 60_000);
  } catch (error) {
    page?.close();
    throw error;
  }
}

async function save(name: string): Promise<void> {
  const data = await api.file(name);
  const address = URL.createObjectURL(data);
  const link = el("a", { href: address, download: name.split("/").pop() ?? name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}
