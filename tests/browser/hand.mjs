// A maker's hand in a real browser: opens the atlas, notes every request and every error, and looks for barriers with axe.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const web = createRequire(new URL("../../web/package.json", import.meta.url));
const { chromium } = web("playwright-core");
const axe = readFileSync(web.resolve("axe-core/axe.min.js"), "utf8");

const FLAGS = [
  "--no-sandbox", "--disable-quic", "--disable-background-networking", "--disable-component-update", "--disable-sync",
  "--no-first-run", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
];

export async function open(address, { width = 1280, height = 720, paper = "light", offline = false } = {}) {
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: FLAGS });
  const context = await browser.newContext({ viewport: { width, height }, colorScheme: paper, acceptDownloads: true, offline });
  const page = await context.newPage();
  page.setDefaultTimeout(60_000);
  const told = { requests: [], errors: [] };
  page.on("request", (r) => told.requests.push(r.url()));
  page.on("pageerror", (e) => told.errors.push(e.message));
  page.on("console", (m) => m.type() === "error" && told.errors.push(m.text()));
  await page.goto(address);
  return { browser, context, page, told };
}

/** Nothing went wrong, and nobody but the page's own server was asked. */
export function soundly({ told }, address) {
  const home = new URL(address).origin;
  const strangers = told.requests.filter((u) => !/^(blob|data):/.test(u) && new URL(u).origin !== home);
  assert.deepEqual(strangers, [], "requests to other hosts");
  assert.deepEqual(told.errors, [], "errors on the page");
}

/** No serious fault by the rules of axe-core (WCAG 2.2 A and AA); its engine is run as the browser's own, outside the page's policy. */
export async function reachable(page, where) {
  await page.evaluate(axe);
  const found = await page.evaluate(() =>
    globalThis.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }),
  );
  const serious = found.violations.filter((v) => ["serious", "critical"].includes(v.impact));
  const words = serious.map((v) => `${v.id}: ${v.nodes.slice(0, 4).map((n) => `${n.html} ${n.failureSummary}`).join(" | ")}`);
  assert.deepEqual(words, [], where);
}

export async function turnTo(page, plate) {
  await page.click(`#plate-${plate}`);
  await page.waitForSelector(`#plate-${plate}[aria-current=page]`);
  await page.waitForTimeout(400);
}

export async function shot(page, name) {
  if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/${name}.png` });
}

/** Until the work is over; fails with what the page says when it went wrong. */
export async function idle(page, seconds) {
  await page.waitForFunction(() => !document.getElementById("cancel"), null, { timeout: seconds * 1000 });
  const said = await page.evaluate(() => [document.getElementById("said").className, document.getElementById("said").textContent]);
  assert.notEqual(said[0], "trouble", said[1]);
}

/** Until something of the disk is so. */
export async function until(so, seconds = 20) {
  for (let k = 0; k < seconds * 10; k++) {
    if (so()) return;
    await new Promise((next) => setTimeout(next, 100));
  }
  assert.fail(`it is not so after ${seconds} s: ${so}`);
}
