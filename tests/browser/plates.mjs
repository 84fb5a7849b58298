// Every plate on light and on dark paper, with a choice made on it where there is one; none has a serious barrier, no
// words on the figure lie on others, and what is ticked on a route card is there again after a reload.
import assert from "node:assert/strict";
import { open, reachable, shot, soundly, turnTo } from "./hand.mjs";

const [, , address] = process.argv;
const CHOICES = {
  ii: "[id^=joint-]", iii: "[id^=part-]", iv: "[id^=pose-]:not(input)", v: "[id^=lies-]", vi: "[id^=card-]",
};
/** Words on the figure that cover more than a quarter of others. */
const covered = (page) =>
  page.evaluate(() => {
    const words = [...document.querySelectorAll("#ink .on-figure")].map((e) => [e.textContent, e.getBoundingClientRect()]);
    const shared = (a, b) =>
      Math.max(0, Math.min(a.right, b.right) - Math.max(a.left, b.left)) *
      Math.max(0, Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top));
    return words.flatMap(([one, a], k) =>
      words.slice(k + 1).filter(([, b]) => shared(a, b) > 0.25 * Math.min(a.width * a.height, b.width * b.height))
        .map(([other]) => `${one} on ${other}`),
    );
  });

async function ticked(page) {
  await turnTo(page, "vi");
  if (await page.locator(CHOICES.vi).first().getAttribute("aria-pressed") !== "true") await page.locator(CHOICES.vi).first().click();
  await page.click("#came-out");
  await page.check("#step-sanded");
  await page.waitForFunction(() => /sanded/.test(document.querySelector("[id^=card-]").textContent));
  await page.reload();
  await page.waitForFunction(() => /printed, sanded/.test(document.querySelector("[id^=card-]")?.textContent ?? ""));
}

for (const paper of ["light", "dark"]) {
  const opened = await open(address, { paper });
  const { browser, page } = opened;
  await page.waitForSelector("#plate-vii:not([disabled])");
  for (const plate of ["i", "ii", "iii", "iv", "v", "vi", "vii"]) {
    await turnTo(page, plate);
    if (CHOICES[plate]) await page.locator(CHOICES[plate]).first().click();
    await page.waitForTimeout(900);
    await shot(page, `${paper}-${plate}`);
    await reachable(page, `plate ${plate} on ${paper} paper`);
    assert.deepEqual(await covered(page), [], `words on plate ${plate}`);
  }
  if (paper === "light") await ticked(page);
  for (const [width, height] of [[768, 1024], [1024, 768]]) {
    await page.setViewportSize({ width, height });
    for (const plate of ["ii", "v"]) {
      await turnTo(page, plate);
      await page.waitForTimeout(600);
      await shot(page, `${paper}-${plate}-${width}`);
      const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert.ok(over <= 0, `plate ${plate} is wider than ${width} px`);
    }
  }
  soundly(opened, address);
  await browser.close();
}
