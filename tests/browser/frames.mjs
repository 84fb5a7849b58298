// Frames in a second while the figure turns, against the same page with nothing on its stage, one after the other.
import { open } from "./hand.mjs";

const [, , full, bare] = process.argv;

async function frames(address, ready) {
  const { browser, page } = await open(address);
  await page.waitForSelector(ready);
  await page.waitForTimeout(3000);
  const count = await page.evaluate(
    () =>
      new Promise((done) => {
        const view = document.getElementById("view");
        const start = performance.now();
        let n = 0;
        const next = () => {
          n += 1;
          view.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowLeft" }));
          if (performance.now() - start < 3000) requestAnimationFrame(next);
          else done((1000 * n) / (performance.now() - start));
        };
        requestAnimationFrame(next);
      }),
  );
  const memory = await page.evaluate(() => performance.memory?.usedJSHeapSize ?? 0);
  await browser.close();
  return { frames: count, memory };
}

const empty = await frames(bare, "#drop");
const whole = await frames(full, "#apart");
const again = await frames(bare, "#drop");
console.log(JSON.stringify({ empty: Math.min(empty.frames, again.frames), whole: whole.frames, memory: whole.memory }));
