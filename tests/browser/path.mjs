// The whole path of a maker: a sculpt is dropped, its joints looked at and moved, the kit made, posed and taken away.
import assert from "node:assert/strict";
import { readFileSync, statSync } from "node:fs";
import { idle, open, reachable, shot, soundly, turnTo, until } from "./hand.mjs";

const [, , address, sculpt, figure, taken] = process.argv;
const opened = await open(address);
const { browser, page } = opened;
const text = () => readFileSync(figure, "utf8");

await page.waitForSelector("#drop");
const body = readFileSync(sculpt).toString("base64");
const carried = await page.evaluateHandle((data) => {
  const transfer = new DataTransfer();
  transfer.items.add(new File([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))], "diver.stl"));
  return transfer;
}, body);
await page.dispatchEvent("#drop", "drop", { dataTransfer: carried });
await page.waitForSelector("#begin:not([disabled])");
await page.fill("#height", "150");
await page.click("#begin");
await page.waitForSelector("#cancel");
await page.waitForSelector("#joint-knee_left", { timeout: 240_000 });
await idle(page, 240);
await shot(page, "joints");
await reachable(page, "the joints");

// One joint by keys half a millimetre up, then by hand across the view, and the hand's move taken back.
await page.click("#joint-knee_left");
await page.waitForSelector("#section svg");
const before = text();
await page.click("#nudge button:nth-child(5)");
await until(() => text() !== before);
const nudged = text();
assert.match(nudged, /source = "hand"/);
await page.waitForTimeout(500);
const dot = await page.locator("#ink circle.dot.chosen").boundingBox();
await page.mouse.move(dot.x + dot.width / 2, dot.y + dot.height / 2);
await page.mouse.down();
await page.mouse.move(dot.x + 6, dot.y + 12, { steps: 4 });
await page.mouse.up();
await until(() => text() !== nudged);
await page.waitForTimeout(700);
await page.click("#undo");
await page.waitForFunction(() => !document.getElementById("redo").disabled);
assert.equal(text(), nudged);

// The kit; the page is loaded again in the middle of the work, which goes on.
await turnTo(page, "iii");
await page.click("#make");
await page.waitForSelector("#cancel");
await page.reload();
await page.waitForSelector("#cancel");
await page.waitForSelector("#apart", { timeout: 900_000 });
await idle(page, 900);
await page.waitForTimeout(1000);
await shot(page, "kit");
await reachable(page, "the kit");
await page.locator("#apart").focus();
await page.keyboard.press("End");

// A hand is dragged; what is found of the pose is told; the pose goes into the figure file.
await turnTo(page, "iv");
await page.waitForTimeout(1000);
const stage = await page.locator("#view").boundingBox();
let held = false;
for (let k = 0; k < 40 && !held; k++) {
  // Down the left of the page, where its right arm hangs.
  const [x, y] = [stage.x + stage.width * (0.2 + 0.006 * k), stage.y + stage.height * 0.6];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x - 10, y - 40, { steps: 3 });
  await page.mouse.up();
  held = (await page.locator("#left .note[aria-pressed=true]").count()) > 0;
}
assert.ok(held, "no limb was under the hand");
await page.waitForSelector("#tried h2", { timeout: 240_000 });
await shot(page, "pose");
await reachable(page, "the poses");
await page.fill("#pose-name", "reach");
await page.click("#keep-pose");
await page.waitForFunction(() => /reach is in the figure file/.test(document.getElementById("said").textContent));
assert.match(text(), /name = "reach"/);

for (const plate of ["v", "vi", "vii", "i"]) {
  await turnTo(page, plate);
  await page.waitForTimeout(1200);
  await shot(page, `plate-${plate}`);
  await reachable(page, `plate ${plate}`);
}

// Everything can be taken away.
await turnTo(page, "vii");
for (const [button, name, least] of [["#file-kit-3mf", "kit.3mf", 10_000], ["#file-book-pdf", "book.pdf", 5_000]]) {
  const [download] = await Promise.all([page.waitForEvent("download"), page.click(button)]);
  assert.equal(download.suggestedFilename(), name);
  await download.saveAs(`${taken}/${name}`);
  assert.ok(statSync(`${taken}/${name}`).size > least);
}

// The dark paper.
await page.click("#paper");
await page.waitForSelector("#caption h1");
await page.waitForTimeout(1500);
for (const plate of ["ii", "iii", "iv", "v", "vi"]) {
  await turnTo(page, plate);
  await reachable(page, `plate ${plate} on dark paper`);
}
await shot(page, "dark");
await page.setViewportSize({ width: 768, height: 1024 });
await turnTo(page, "ii");
await page.waitForTimeout(800);
await shot(page, "tablet");
const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
assert.ok(wide <= 0, "the page is wider than a tablet");
soundly(opened, address);
await browser.close();
