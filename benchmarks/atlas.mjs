// Starts the atlas on nothing and on a made figure, and says as JSON how soon there is a picture and how quickly it turns.
import { execFileSync, spawn } from "node:child_process";
import { open } from "../tests/browser/hand.mjs";

const [, , empty, command, ...rest] = process.argv;

/** Serve as the command does; the address, the moment of the command, and how to end it. */
async function serve(figure) {
  const began = performance.now();
  const server = spawn(command, [...rest.slice(0, -1), figure, "--no-browser", "--port", "0"]);
  let said = "";
  await new Promise((told) => server.stdout.on("data", (d) => /http\S+/.test((said += d)) && told()));
  return { began, address: /http\S+/.exec(said)[0], end: () => server.kill() };
}

/** Pictures a second while a hand turns what is on the stage, five seconds long. */
const turning = (page) =>
  page.evaluate(async () => {
    const canvas = document.getElementById("view");
    canvas.setPointerCapture = () => {};
    const at = (type, x) =>
      canvas.dispatchEvent(new PointerEvent(type, { clientX: 640 + x, clientY: 130, pointerId: 1, bubbles: true }));
    at("pointerdown", -300);
    const start = performance.now();
    let pictures = 0;
    await new Promise((done) => {
      const next = () => {
        at("pointermove", 200 * Math.sin(pictures++ / 15));
        if (performance.now() - start > 5000) done();
        else requestAnimationFrame(next);
      };
      requestAnimationFrame(next);
    });
    at("pointerup", 0);
    return pictures / 5;
  });

/** The browser is there before the command is given, as a maker's is. */
async function measured(figure, plate) {
  const { browser, page, context } = await open("about:blank");
  const { began, address, end } = await serve(figure);
  await page.goto(address);
  if (plate) await page.waitForSelector("#view[data-shown]");
  else await page.waitForSelector("#drop");
  const first = (performance.now() - began) / 1000;
  await page.waitForTimeout(2000);
  const rate = await turning(page);
  const session = await context.newCDPSession(page);
  await session.send("Performance.enable");
  const { metrics } = await session.send("Performance.getMetrics");
  const heap = metrics.find((m) => m.name === "JSHeapUsedSize").value / 2 ** 20;
  const rss = execFileSync("ps", ["-eo", "rss,args"]).toString().split("\n")
    .filter((l) => /type=renderer/.test(l) && !/extension-process/.test(l)).map((l) => Number(l.trim().split(" ")[0]) / 1024);
  await browser.close();
  end();
  return { first, rate, heap, memory: Math.max(0, ...rss) };
}

const nothing = await measured(empty, false);
const figure = await measured(rest.at(-1), true);
console.log(JSON.stringify({
  first_picture_s: figure.first, empty_per_s: nothing.rate, figure_per_s: figure.rate,
  share: figure.rate / nothing.rate, page_mib: figure.memory, heap_mib: figure.heap,
}));
