// The atlas: plates are turned, the state is kept up to date, work is watched.
import { api, COPY, type Job, listen, type Live, type Sizes, type State, type Trial } from "./api";
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

const [JOINTS, POSES] = [new JointsPlate(), new PosesPlate()];
const ALL: Plate[] = [
  new SculptPlate(),
  JOINTS,
  new KitPlate(),
  POSES,
  new BuildsPlate(),
  new BenchPlate(),
  new PapersPlate(),
];
/** A copy without a server shows what is finished; what changes the figure stays at home. */
const PLATES = COPY ? ALL.filter((p) => ["iii", "iv", "v"].includes(p.number)) : ALL;
/** Where a figure of each stage opens, as far as there is such a page here. */
const FIRST: Record<State["stage"], string> = { empty: "i", seated: "ii", made: "iii" };
const STEPS: Record<string, string> = {
  read: "reading",
  intake: "cleaning the sculpt",
  seat: "finding the joints",
  part: "cutting along the joints",
  motion: "mapping reach, and looking into bent hinges",
  soles: "making the feet",
  hollow: "hollowing resin parts",
  labels: "engraving the parts' names",
  sections: "measuring necks and pins",
  tries: "trying what would mend",
  "tries again": "trying more where that was not enough",
  prove: "measuring fit, walls and motion",
  poses: "solving poses",
  carry: "weighing, posing, working out the loads",
  print: "laying parts on the build plate",
  finish: "planning the finish",
  book: "binding the book",
  written: "checking the parts as written",
  files: "writing files",
  ready: "making the joints ready to be moved",
  "take up": "taking the joint up",
  recut: "cutting the joint again",
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
  const sub = plate ? `Page ${plate.number}. ${plate.title}` : "";
  const stale = state.stage === "made" && !state.fresh ? "the kit was made before the last change" : "";
  const line = [sub, state.height_mm ? `${state.height_mm} mm` : "", stale].filter(Boolean).join(" — ");
  fill(document.getElementById("caption")!, el("h1", {}, state.name || "Condyle"), el("p", {}, line));
  const undo = el(
    "button",
    { id: "undo", click: () => void sheet.attempt(async () => show(await api.undo(sheet.state.revision))) },
    "take back",
  );
  const redo = el(
    "button",
    { id: "redo", click: () => void sheet.attempt(async () => show(await api.redo(sheet.state.revision))) },
    "do again",
  );
  undo.disabled = !state.can_undo;
  redo.disabled = !state.can_redo;
  const paper = el(
    "button",
    { id: "paper", click: turnPaper },
    document.documentElement.dataset["paper"] === "dark" ? "light paper" : "dark paper",
  );
  const buttons = PLATES.map((p) => {
    const here = { id: `plate-${p.number}`, "aria-current": p === plate ? "page" : undefined, click: () => turnTo(p) };
    const button = el("button", here, el("span", { class: "number" }, `${p.number}.`), p.title);
    button.disabled = !p.open(state);
    return button;
  });
  fill(document.getElementById("contents")!, ...buttons, ...(COPY ? [] : [undo, redo]), paper);
}

function numbered(number: string): Plate {
  return PLATES.find((p) => p.number === number) ?? PLATES[0]!;
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
  if (state.trouble && state.trouble.message !== before.trouble?.message) tellTrouble(state);
  if (state.live?.trouble && state.live.trouble !== before.live?.trouble) sheet.trouble(new Error(state.live.trouble));
  working(state.job ?? null, state.live ?? null);
  if (before.live?.working && !state.live?.working && !state.job && !state.live?.trouble)
    sheet.say(livedUp(state.live));
  if (plate && !plate.open(state)) turnTo(PLATES[0]!);
  caption();
  plate?.update(sheet);
  if (before.job && !state.job && !state.trouble) {
    sheet.say(before.job.kind === "pose" ? "tried" : "done");
    if (before.job.kind === "start") turnTo(numbered("ii"));
    if (before.job.kind === "make" && plate?.number !== "iii") turnTo(numbered("iii"));
  }
}

function tellTrouble({ trouble }: State): void {
  if (trouble) sheet.trouble(new Error([trouble.message, trouble.place, trouble.hint].filter(Boolean).join(" — ")));
}

/** What is said when a moved joint's parts have been measured again. */
function livedUp(live: Live | null): string {
  const last = Math.max(0, ...Object.values(live?.took_s ?? {}).flatMap((t) => Object.values(t)));
  return last ? `measured again ${last.toFixed(1)} s after the move` : "the joint is ready to be moved";
}

let ticking: ReturnType<typeof setInterval> | undefined;

function working(job: Job | null, live: Live | null): void {
  clearInterval(ticking);
  for (const id of ["cancel", "seconds"]) document.getElementById(id)?.remove();
  const now = job ?? (live?.working ? { ...live, words: "" } : null);
  if (!now) return;
  sheet.say(`${STEPS[now.step] || now.step || "beginning"}${now.words ? `: ${now.words}` : ""}`);
  // The seconds run on between two news, seen but not read aloud.
  const began = performance.now() - 1000 * now.seconds;
  const seconds = el("span", { id: "seconds", "aria-hidden": "true" });
  const tick = () => (seconds.textContent = `${Math.round((performance.now() - began) / 1000)} s`);
  tick();
  ticking = setInterval(tick, 1000);
  const stop = el("button", { id: "cancel", click: () => void sheet.attempt(api.cancel) }, "stop this work");
  document.getElementById("foot")!.append(seconds, stop);
}

/** The state as it is now, shown where it is another than before. */
async function catchUp(): Promise<void> {
  const state = await api.state();
  if (JSON.stringify(state) !== JSON.stringify(sheet.state)) show(state);
  // An edit has brought the sheet the newest state already, but drawn nothing of it beside its own plate.
  else if (document.querySelector<HTMLButtonElement>("#undo")?.disabled === state.can_undo) caption();
}

async function begin(): Promise<void> {
  // The kit is asked for beside the state: most figures that are opened have one.
  const early = api.scene("figure").catch(() => null);
  const state = await api.state();
  sheet = new Sheet(state, early);
  const last = sessionStorage.getItem("condyle-atlas-plate");
  const first = PLATES.find((p) => p.number === last && p.open(state));
  turnTo(first ?? numbered(FIRST[state.stage]));
  tellTrouble(state);
  working(state.job ?? null, state.live ?? null);
  if (COPY) return;
  void listen(
    (name, value) => {
      if (name === "state") void sheet.attempt(catchUp);
      else if (name === "job") working(value as Job | null, sheet.state.live ?? null);
      else if (name === "sizes") JOINTS.fits(value as Sizes);
      else if (name === "trial") POSES.tried(sheet, value as Trial);
      else if (name === "cards" && plate?.number === "vi") plate.update(sheet);
    },
    (away) => (away ? sheet.say("the server is away; trying again") : undefined),
  );
}

const asked = matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
document.documentElement.dataset["paper"] = localStorage.getItem("condyle-atlas-paper") ?? asked;
begin().catch((error: unknown) => {
  const said = document.getElementById("said")!;
  said.className = "trouble";
  said.textContent = error instanceof Error ? error.message : String(error);
});
