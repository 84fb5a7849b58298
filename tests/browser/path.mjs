// The whole path of a maker: a sculpt is dropped, its joints looked at and moved, the kit made, posed and taken away.
import assert from "node:assert/strict";
import { readFileSync, statSync } from "node:fs";
import { idle, open, shot, soundly, turnTo, until } from "./hand.mjs";

const [, , address, sculpt, figure, taken] = process.argv;
const opened = await open(address);
const { browser, page } = opened;
const text = () => readFileSync(figure, "utf8");
/** From here on all that the page's foot says is heard, however soon something else is said. */
const listen = () =>
  page.evaluate(() => {
    globalThis.heard = [];
    const said = document.getElementById("said");
    new MutationObserver(() => globalThis.heard.push(said.textContent)).observe(said, { childList: true, subtree: true, characterData: true });
  });

await page.waitForSelector("#drop");
await listen();
const body = readFileSync(sculpt).toString("base64");
const carried = await page.evaluateHandle((data) => {
  const transfer = new DataTransfer();
  transfer.items.add(new File([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))], "given.stl"));
  return transfer;
}, body);
await page.dispatchEvent("#drop", "drop", { dataTransfer: carried });
await page.waitForSelector("#begin:not([disabled])");
const heard = await page.evaluate(() => globalThis.heard);
assert.ok(heard.some((words) => /^bringing given.stl: \d+ %$/.test(words)), `no progress was told: ${heard}`);
await page.fill("#height", "70");
await page.selectOption("#skeleton", "skeleton.toml");
await page.selectOption("#up", "z");
await page.selectOption("#facing", "x");
await page.click("#begin");
await page.waitForSelector("#joint-middle", { timeout: 240_000 });
await idle(page, 240);

// One joint by keys half a millimetre up, then by hand across the view, and the hand's move taken back.
await page.click("#joint-middle");
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
await page.locator("#apart").focus();
await page.keyboard.press("End");

// The joint is taken up and moved again: its parts follow, without a new kit, also on a second page.
const other = await opened.context.newPage();
await other.goto(address);
await other.waitForSelector("#plate-ii");
await turnTo(page, "ii");
await page.click("#joint-middle");
await page.waitForSelector("#sizes p", { timeout: 240_000 });
assert.match(await page.textContent("#sizes"), /Sizes that fit here as a ball: .*\d mm/);
await page.click("#nudge button:nth-child(5)");
await page.waitForFunction(() => /motion after/.test(document.getElementById("took")?.textContent ?? ""), null, {
  timeout: 240_000,
});
await shot(page, "moved");
await other.waitForFunction(() => /before the last change/.test(document.getElementById("caption").textContent));
await page.click("#undo");
await page.waitForFunction(() => !/before the last change/.test(document.getElementById("caption").textContent));
await other.close();

// A limb is dragged; what is found of the pose is told; the pose goes into the figure file.
await turnTo(page, "iv");
await page.waitForTimeout(1000);
const stage = await page.locator("#view").boundingBox();
const [x, y] = [stage.x + stage.width / 2, stage.y + stage.height * 0.2];
await page.mouse.move(x, y);
await page.mouse.down();
await page.mouse.move(x - 14, y + 6, { steps: 3 });
await page.mouse.up();
assert.equal(await page.locator("#left .note[aria-pressed=true]").count(), 1, "no limb was under the hand");
await page.waitForSelector("#tried h2", { timeout: 240_000 });
await shot(page, "pose");
await listen();
await page.fill("#pose-name", "reach");
await page.click("#keep-pose");
await page.waitForFunction(() => globalThis.heard.some((words) => /reach is in the figure file/.test(words)));
assert.match(text(), /name = "reach"/);

// The book opens beside the page; everything can be taken away.
await turnTo(page, "vii");
const [book] = await Promise.all([opened.context.waitForEvent("page"), page.click("#open-book")]);
await book.waitForURL(/^blob:/, { timeout: 5000 }).catch(() => {}); // where there is no viewer the browser takes the file instead
await book.close().catch(() => {});
for (const [button, name, least] of [["#file-kit-3mf", "kit.3mf", 10_000], ["#file-book-pdf", "book.pdf", 5_000]]) {
  const [download] = await Promise.all([page.waitForEvent("download"), page.click(button)]);
  assert.equal(download.suggestedFilename(), name);
  await download.saveAs(`${taken}/${name}`);
  assert.ok(statSync(`${taken}/${name}`).size > least);
}
soundly(opened, address);
await browser.close();
