// Coupon results are entered one after the other, and the figure is drawn for the printer that they tell of.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { open, shot, soundly, turnTo } from "./hand.mjs";

const [, , address, figure, sheet] = process.argv;
const opened = await open(address);
const { browser, page } = opened;
await page.waitForSelector("#plate-vi");
await turnTo(page, "vi");
await page.waitForSelector("#felt-0");
const left = async () => Number(/(\d+) blanks/.exec(await page.textContent("#coupons"))[1]);
const start = await left();
for (let k = 0; k < start; k++) {
  const choices = await page.locator("[id^=felt-]").count();
  if (!choices) break;
  // Mark 1 is drawn the tightest: from "will not go" (4) to "falls out" (0), and none broke.
  await page.click(`#felt-${Math.round(4 - (4 * k) / Math.max(1, start - 1))}`);
  await page.waitForFunction((n) => new RegExp(`: ${n} blanks`).test(document.getElementById("coupons").textContent), start - k - 1);
}
assert.equal(await left(), 0);
assert.ok(!/= ""/.test(readFileSync(sheet, "utf8").split("[ladder")[1]));
await page.click("#calibrate");
await page.waitForSelector("#use-printer");
await shot(page, "coupons");
assert.match(await page.textContent("#coupons"), /clearance [+-]\d/);
await page.click("#use-printer");
await page.waitForFunction(() => /my-printer.toml now/.test(document.getElementById("said").textContent));
assert.match(readFileSync(figure, "utf8"), /printer = "my-printer.toml"/);
soundly(opened, address);
await browser.close();
