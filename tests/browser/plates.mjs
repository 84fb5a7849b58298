// Every plate on light and on dark paper, with a choice made on it where there is one; none has a serious barrier.
import assert from "node:assert/strict";
import { open, reachable, shot, soundly, turnTo } from "./hand.mjs";

const [, , address] = process.argv;
const CHOICES = {
  ii: "[id^=joint-]", iii: "[id^=part-]", iv: "[id^=pose-]:not(input)", v: "[id^=lies-]", vi: "[id^=card-]",
};
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
  }
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
