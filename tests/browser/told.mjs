// What is told on the figure itself: masks and the holding point of a part, contact where it happens, the joint that droops;
// and last the front, found by turning the figure until its face is towards the eye.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { idle, open, shot, soundly, turnTo, until } from "./hand.mjs";

const [, , address, figure] = process.argv;
const opened = await open(address);
const { browser, page } = opened;
await page.waitForSelector("#plate-vi:not([disabled])");

// Each mask that the words tell is a ring on the figure, with its number.
await turnTo(page, "vi");
await page.locator("[id^=card-]").first().click();
await page.waitForSelector("#ink circle.mask");
const words = await page.textContent("#right");
const masks = await page.locator("#ink circle.mask").count();
assert.match(words, new RegExp(`${masks}\\. `));
assert.match(words, /Hold it by .*H on the figure/);
const labels = await page.locator("#ink .on-figure").allTextContents();
assert.equal(labels.filter((w) => /^(mask \d|H)$/.test(w)).length, masks + 1);
await shot(page, "masks");

// A limb further over than it can go: where the parts meet is crossed and named, and what is too heavy for its joint is said.
await page.route("**/api/state", async (route) => {
  const answer = await route.fetch();
  const state = await answer.json();
  for (const joint of state.joints) if (joint.built) joint.hold_nmm = 0.0;
  await route.fulfill({ response: answer, json: state });
});
await page.reload();
await page.waitForSelector("#plate-iv:not([disabled])");
await turnTo(page, "iv");
await page.waitForTimeout(600);
const said = await page.evaluate(async () => {
  const headers = { Authorization: `Bearer ${sessionStorage.getItem("condyle-atlas-token")}`, "Content-Type": "application/json" };
  const answer = await fetch("/api/try", { method: "POST", headers, body: JSON.stringify({ joints: { middle: { flex: 75 } } }) });
  return [answer.status, await answer.text()];
});
assert.equal(said[0], 200, said[1]);
await page.waitForSelector("#tried h2", { timeout: 120_000 });
const tried = await page.textContent("#tried");
assert.match(tried, /1\. \w+ meets \w+ \(.* apart, .* wanted\)/);
assert.match(tried, /Droops: middle: .*N·mm on a hold of 0/);
assert.ok((await page.locator("#ink line.meets").count()) >= 2);
await shot(page, "meets");
await page.unroute("**/api/state");

// A quarter turn under the hand, and what is seen is its front.
await turnTo(page, "i");
await page.waitForTimeout(600);
assert.match(readFileSync(figure, "utf8"), /facing = "x"/);
const stage = await page.locator("#view").boundingBox();
const [x, y] = [stage.x + stage.width / 2, stage.y + stage.height / 2];
await page.mouse.move(x, y);
await page.mouse.down();
await page.mouse.move(x + 252, y, { steps: 6 });
await page.mouse.up();
await page.click("#front");
await until(() => /facing = "-?y"/.test(readFileSync(figure, "utf8")), 60);
await idle(page, 120);
await turnTo(page, "i");
assert.match(await page.textContent("#left"), /forward -?y of its file/);
soundly(opened, address);
await browser.close();
