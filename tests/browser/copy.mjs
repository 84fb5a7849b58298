// The page as one file, opened from the disk of a machine that is on no network: it shows and poses the figure.
import assert from "node:assert/strict";
import { open, reachable, shot } from "./hand.mjs";

const [, , address] = process.argv;
const { browser, page, told } = await open(address, { offline: true });
await page.waitForSelector("#plate-iv");
await page.click("#plate-iv");
await page.waitForSelector("[id^=take-]");
await page.waitForTimeout(1500);
const drawn = () => page.locator("#view").screenshot();
const before = await drawn();
await page.locator("#left .note").first().click();
const slider = page.locator("#right input[type=range]").first();
await slider.focus();
await page.keyboard.press("End");
await page.waitForTimeout(800);
assert.ok(!before.equals(await drawn()), "the figure did not move");
await shot(page, "copy");
await reachable(page, "the copy");
assert.deepEqual(told.errors, []);
assert.deepEqual(told.requests.filter((u) => !u.startsWith("file:") && !/^(blob|data):/.test(u)), []);
await browser.close();
