// Without a pointer: plates are turned, the figure is turned, a joint is moved and posed by keys alone.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { open, soundly, until } from "./hand.mjs";

const [, , address, figure, joint] = process.argv;
const opened = await open(address);
const { browser, page } = opened;
await page.waitForSelector("#plate-i");

/** Tab until an element has the focus, as one without a pointer would. */
async function to(selector) {
  for (let k = 0; k < 120; k++) {
    if (await page.evaluate((s) => document.activeElement?.matches(s) ?? false, selector)) return;
    await page.keyboard.press("Tab");
  }
  assert.fail(`${selector} is out of the keyboard's reach`);
}

await to("#plate-ii");
const ring = await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle);
assert.notEqual(ring, "none", "the focus is not seen");
await page.keyboard.press("Enter");
await page.waitForSelector(`#joint-${joint}`);
await page.waitForTimeout(1500);
await to("#view");
const place = () => page.locator("#ink circle.dot").first().getAttribute("cx");
const before = await place();
for (let k = 0; k < 6; k++) await page.keyboard.press("ArrowLeft");
await page.waitForTimeout(600);
assert.notEqual(await place(), before, "the figure was not turned");

await to(`#joint-${joint}`);
await page.keyboard.press("Enter");
await to("#nudge button");
const text = readFileSync(figure, "utf8");
await page.keyboard.press("Enter");
await until(() => readFileSync(figure, "utf8") !== text);
// The parts are cut again meanwhile and the notes drawn anew: the focus stays where it was.
await page.waitForTimeout(1500);
assert.equal(await page.evaluate(() => document.activeElement.closest("#nudge")?.id), "nudge", "the focus was lost");
await to("#undo");
await page.keyboard.press("Enter");
await page.waitForFunction(() => !document.getElementById("redo").disabled);
assert.equal(readFileSync(figure, "utf8"), text);

await to("#plate-iv");
await page.keyboard.press("Enter");
await to(`#pose-${joint}`);
await page.keyboard.press("Enter");
await to("#right input[type=range]");
const was = await page.evaluate(() => document.activeElement.value);
await page.keyboard.press("ArrowRight");
await page.keyboard.press("ArrowRight");
const now = await page.evaluate(() => document.querySelector("#right input[type=range]").value);
assert.notEqual(now, was);
soundly(opened, address);
await browser.close();
