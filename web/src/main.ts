// The atlas: plates are turned, the state is kept up to date, work is watched.
import { api, COPY, type Job, listen, type State, type Trial } from "./api";
import { el, fill } from "./dom";
import { BenchPlate } from "./plates/bench";
import { BuildsPlate } from "./plates/builds";
import { JointsPlate } from "./plates/joints";
import { KitPlate } from "./plates/kit";
import { PapersPlate } from "./plates/papers";
import { PosesPlate } from "./plates/poses";
import { SculptPlate } from "./plates/sculpt";
import { type Plate, Sheet } from "./sheet";
import "./atlas.css";

const POSES = new PosesPlate();
const ALL: Plate[] = [new SculptPlate(), new JointsPlate(), new KitPlate(), POSES, new BuildsPlate(), new BenchPlate(), new PapersPlate()];
/** A copy without a server shows what is finished; what changes the figure stays at home. */
const PLATES = COPY ? ALL.filter((p) => ["iii", "iv", "v"].includes(p.number)) : ALL;
const STEPS: Record<string, string> = {
  read: "reading", intake: "cleaning the sculpt", seat: "finding the joints", part: "cutting along the joints", prove: "measuring fit, walls and motion",
  written: "checking the parts as written", files: "writing files",
};

let sheet: Sheet;
let plate: Plate | null = null;

function turnTo(next: Plate): void {
  if (plate === next) return;
  plate?.leave(sheet);
  plate = next;
  sessionStorage.setItem("condyle-atlas-plate", next.number);
  caption();
  next.enter(sheet);
}

function caption(): void {
  const { state } = sheet;
  const sub = plate ? `Plate ${plate.number}. ${plate.title}` : "";
  fill(document.getElementById("caption")!, el("h1", {}, state.name || "Condyle"), el("p", {}, [sub, state.height_mm ? `${state.height_mm} mm` : "", state.stage === "made" && !state.fresh ? "the kit is of an earlier file" : ""].filter(Boolean).join(" — ")));
  const undo = el("button", { id: "undo", click: () => void sheet.attempt(async () => show(await api.undo(sheet.state.revision))) }, "take back");
  const redo = el("button", { id: "redo", click: () => void sheet.attempt(async () => show(await api.redo(sheet.state.revision))) }, "make again");
  undo.disabled = !state.can_undo;
  redo.disabled = !state.can_redo;
  const paper = el("button", { id: "paper", click: turnPaper }, document.documentElement.dataset["paper"] === "dark" ? "light paper" : "dark paper");
  fill(document.getElementById("contents")!, ...PLATES.map((p) => {
    const button = el("button", { id: `plate-${p.number}`, "aria-current": p === plate ? "page" : undefined, click: () => turnTo(p) }, el("span", { class: "number" }, `${p.number}.`), p.title);
    button.disabled = !p.open(state);
    return button;
  }), ...(COPY ? [] : [undo, redo]), paper);
}

function turnPaper(): void {
  const root = document.documentElement;
  root.dataset["paper"] = root.dataset["paper"] === "dark" ? "light" : "dark";
  localStorage.setItem("condyle-atlas-paper", root.dataset["paper"]);
  location.reload();
}

function show(state: State): void {
  const before = sheet.state;
  sheet.state = state;
  if (state.trouble && state.trouble.message !== before.trouble?.message) sheet.trouble(new Error([state.trouble.message, state.trouble.place, state.trouble.hint].filter(Boolean).join(" — ")));
  working(state.job ?? null);
  if (plate && !plate.open(state)) turnTo(PLATES[0]!);
  caption();
  plate?.update(sheet);
  if (before.job && !state.job && !state.trouble) {
    sheet.say(before.job.kind === "pose" ? "tried" : "done");
    if (before.job.kind === "start") turnTo(PLATES[1]!);
    if (before.job.kind === "make" && plate?.number !== "iii") turnTo(PLATES[2]!);
  }
}

function working(job: Job | null): void {
  document.getElementById("cancel")?.remove();
  if (!job) return;
  sheet.say(`${STEPS[job.step] ?? job.step ?? ""}${job.words ? `: ${job.words}` : ""} — ${Math.round(job.seconds)} s`);
  document.getElementById("foot")!.append(el("button", { id: "cancel", click: () => void sheet.attempt(api.cancel) }, "stop this work"));
}

async function begin(): Promise<void> {
  const state = await api.state();
  sheet = new Sheet(state);
  const last = sessionStorage.getItem("condyle-atlas-plate");
  const first = PLATES.find((p) => p.number === last && p.open(state));
  turnTo(first ?? (state.stage === "empty" ? PLATES[0]! : state.stage === "seated" ? PLATES[1]! : PLATES[2]!));
  if (state.trouble) sheet.trouble(new Error([state.trouble.message, state.trouble.place, state.trouble.hint].filter(Boolean).join(" — ")));
  working(state.job ?? null);
  if (COPY) return;
  void listen(
    (name, value) => {
      if (name === "state") void sheet.attempt(async () => show(await api.state()));
      else if (name === "job") working(value as Job | null);
      else if (name === "trial") POSES.tried(sheet, value as Trial);
      else if (name === "cards" && plate?.number === "vi") plate.update(sheet);
    },
    (away) => (away ? sheet.say("the server is away; trying again") : undefined),
  );
}

document.documentElement.dataset["paper"] = localStorage.getItem("condyle-atlas-paper") ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
begin().catch((error: unknown) => {
  const said = document.getElementById("said")!;
  said.className = "trouble";
  said.textContent = error instanceof Error ? error.message : String(error);
});
