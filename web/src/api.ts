// The only file that talks to the server. The token comes in the address's fragment and never leaves this page.
import type { components } from "./api-types";

export type State = components["schemas"]["State"];
export type Joint = components["schemas"]["JointView"];
export type Part = components["schemas"]["PartView"];
export type Finding = components["schemas"]["FindingView"];
export type Job = components["schemas"]["JobView"];
export type Card = components["schemas"]["CardView"];
export type Section = components["schemas"]["SectionView"];
export type SolvedPose = components["schemas"]["SolvedPoseView"];
export type Lying = components["schemas"]["LyingView"];
export type Finish = components["schemas"]["FinishView"];
export type CouponSheet = components["schemas"]["SheetView"];
export type Live = components["schemas"]["LiveView"];
export type Smooth = components["schemas"]["SmoothView"];
export type Calibrated = components["schemas"]["CalibratedView"];
export type Beginning = components["schemas"]["Beginning"];
export type Change = components["schemas"]["Change"];

/** What a pose was found to be when it was tried on the kit. */
export interface Trial {
  contacts: { first: string; second: string; gap_mm: number; keep_mm: number; place: [number, number, number] }[];
  stands: boolean;
  tip_deg: number;
  margin_mm: number;
  touching: string[];
  loads_nmm: Record<string, number>;
}

/** The sizes that a joint could have where the hand holds it. */
export interface Sizes {
  joint: string;
  /** How the joint lies as it is built, in the keys of the figure file. */
  frame: { along: number[]; axis: number[]; cut: number[] } | null;
  kind: string;
  sizes_mm: number[];
  lack_mm: number | null;
  least_mm: number | null;
}

/** A figure that came with the page, in one file: everything by the path that would have been asked. */
const given: Record<string, unknown> | null = JSON.parse(document.getElementById("given")?.textContent ?? "null");

/** Whether this page is a copy to look at, without a server. */
export const COPY = given !== null;

const KEY = "condyle-atlas-token";

function token(): string {
  if (COPY) return "";
  const key = location.hash.slice(1);
  if (key) {
    sessionStorage.setItem(KEY, key);
    history.replaceState(null, "", location.pathname);
  }
  return sessionStorage.getItem(KEY) ?? "";
}

const TOKEN = token();

/** What the server says went wrong: what, what to do, and where. */
export class Told extends Error {
  constructor(
    readonly code: string,
    message: string,
    readonly hint: string,
    readonly place: string,
  ) {
    super(message);
  }
}

async function call(method: string, path: string, body?: BodyInit, type?: string): Promise<Response> {
  if (given) return fromCopy(method, path);
  const headers: Record<string, string> = { Authorization: `Bearer ${TOKEN}` };
  if (type) headers["Content-Type"] = type;
  const init: RequestInit = { method, headers };
  if (body !== undefined) init.body = body;
  const answer = await fetch(path, init);
  if (!answer.ok) {
    const told = await answer.json().catch(() => ({}));
    const message = typeof told.message === "string" ? told.message : `the server answered ${answer.status}`;
    throw new Told(told.code ?? "atlas.answer", message, told.hint ?? "", told.place ?? "");
  }
  return answer;
}

async function fromCopy(method: string, path: string): Promise<Response> {
  const found = method === "GET" ? given?.[path] : undefined;
  if (found === undefined)
    throw new Told("atlas.copy", "this is a copy to look at: changes are made with Condyle", "", "");
  if (typeof found !== "string") return new Response(JSON.stringify(found));
  const packed = Uint8Array.from(atob(found), (c) => c.charCodeAt(0));
  return new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip")));
}

async function json<T>(method: string, path: string, body?: unknown): Promise<T> {
  const answer = await call(method, path, body === undefined ? undefined : JSON.stringify(body), "application/json");
  return (await answer.json()) as T;
}

export type SceneName = "figure" | "sculpt" | "live";

export const api = {
  state: () => json<State>("GET", "/api/state"),
  edit: (base: string, changes: Change[]) => json<State>("POST", "/api/edit", { base, changes }),
  keepPose: (base: string, name: string, joints: Record<string, Record<string, number>>) =>
    json<State>("POST", "/api/pose", { base, name, joints }),
  undo: (base: string) => json<State>("POST", "/api/undo", { base }),
  redo: (base: string) => json<State>("POST", "/api/redo", { base }),
  make: () => json<State>("POST", "/api/make"),
  seat: () => json<State>("POST", "/api/seat"),
  look: () => json<State>("POST", "/api/look"),
  cancel: () => json<State>("POST", "/api/cancel"),
  begin: (ask: Beginning) => json<State>("POST", "/api/begin", ask),
  takeUp: (joint: string) => json<State>("POST", "/api/take-up", { joint }),
  sizes: (joint: string, centre: readonly number[]) =>
    call("POST", "/api/sizes", JSON.stringify({ joint, centre }), "application/json"),
  cards: () => json<Card[]>("GET", "/api/cards"),
  tryPose: (joints: Record<string, Record<string, number>>) => json<State>("POST", "/api/try", { joints }),
  poses: () => json<SolvedPose[]>("GET", "/api/poses"),
  lying: () => json<Lying[]>("GET", "/api/lying"),
  finish: () => json<Finish>("GET", "/api/finish"),
  sheets: () => json<CouponSheet[]>("GET", "/api/sheets"),
  answer: (sheet: string, path: string[], value: string | number) =>
    json<CouponSheet>("POST", "/api/answer", { sheet, path, value }),
  calibrate: (sheet: string) => json<Calibrated>("POST", "/api/calibrate", { sheet }),
  tick: (part: string, step: string, done: boolean) => json<Card[]>("POST", "/api/tick", { part, step, done }),
  attempt: (parts: string[], how: string | null, note: string) =>
    json<Card[]>("POST", "/api/attempt", { parts, how, note }),
  section: (centre: readonly number[], along: readonly number[]) =>
    json<Section>("GET", `/api/section?centre=${centre.join(",")}&along=${along.join(",")}`),
  scene: async (name: SceneName) => (await call("GET", `/api/scene/${name}.glb`)).arrayBuffer(),
  file: async (name: string) => (await call("GET", `/api/file/${name}`)).blob(),
  /** Send a sculpt, told how far it is. Browsers tell progress of uploads only to the older request object. */
  sculpt: (file: File, progress: (share: number) => void): Promise<string> =>
    new Promise((done, failed) => {
      const request = new XMLHttpRequest();
      request.open("POST", `/api/sculpt?name=${encodeURIComponent(file.name)}`);
      request.setRequestHeader("Authorization", `Bearer ${TOKEN}`);
      request.upload.onprogress = (e) => progress(e.lengthComputable ? e.loaded / e.total : 0);
      request.onerror = () =>
        failed(new Told("atlas.answer", "the server does not answer", "is it still running?", ""));
      request.onload = () => {
        const told = JSON.parse(request.responseText || "{}");
        if (request.status === 200) done(told.sculpt);
        else failed(new Told(told.code, told.message, told.hint ?? "", told.place ?? ""));
      };
      request.send(file);
    }),
};

/** Listen for news until the page closes; begins again when the server was away. */
export async function listen(
  heard: (name: string, value: unknown) => void,
  lost: (away: boolean) => void,
): Promise<never> {
  for (;;) {
    try {
      const answer = await call("GET", "/api/news");
      lost(false);
      const reader = answer.body!.pipeThrough(new TextDecoderStream()).getReader();
      let waiting = "";
      for (;;) {
        const { value, done } = await reader.read();
        if (done) break;
        waiting += value;
        const blocks = waiting.split("\n\n");
        waiting = blocks.pop() ?? "";
        for (const block of blocks) {
          const name = /^event: (.*)$/m.exec(block)?.[1];
          const data = /^data: (.*)$/m.exec(block)?.[1];
          if (name && data !== undefined) heard(name, JSON.parse(data));
        }
      }
    } catch {
      // Away: told below, and tried again.
    }
    lost(true);
    await new Promise((next) => setTimeout(next, 1000));
  }
}
