// What the page takes with a large scan, measured in the headless browser: `cargo xtask bench
// --page` runs it for each size. Picks, brush steps and cuts are timed without drawing, for a
// headless browser draws by software.

import { basename, dirname } from "node:path";

import { browser, opened, shown, state, until } from "./bench.mjs";

const TIMES = 100;
const scan = process.argv[2];

const ended = [];
const t = { after: (end) => ended.push(end) };
const median = (times) => [...times].sort((a, b) => a - b)[Math.floor(times.length / 2)];

/** Opens the page where nothing is left to be done but to show it; seconds from going there. */
async function picture(chrome, address) {
  const page = await shown(t, chrome, address);
  // The page tells when the graphics had finished each: the simplified surface, then the whole.
  const finished = (what) => page.waitForFunction((what) => performance.getEntriesByName(what)[0]?.startTime, what, { polling: 100 });
  const [first, whole] = [await finished("first picture"), await finished("whole picture")];
  await page.waitForFunction(() => document.querySelector("[data-test=picture]").scene.meshOf("scan").geometry.boundsTree !== undefined, null, { polling: 100 });
  return { page, first: (await first.jsonValue()) / 1000, whole: (await whole.jsonValue()) / 1000 };
}

/** Times of some calls in the page, in milliseconds, nothing being drawn. */
const timed = (page, what) => page.evaluate(async ([what, TIMES]) => {
  const host = document.querySelector("[data-test=picture]");
  const { scene } = host;
  window.requestAnimationFrame = () => 0;
  const frame = host.querySelector("canvas").getBoundingClientRect();
  const size = Math.max(...(await (await fetch("api/state")).json()).scan.examined.size);
  scene.paintWith({ radius: size / 40, isErasing: false });
  let met = 0;
  const times = [];
  // Places on a spiral from the middle of the picture, so that many meet the scan.
  for (let k = 0; met < TIMES && k < 20 * TIMES; k++) {
    const [turn, out] = [2.4 * k, 0.25 * Math.sqrt(k / (4 * TIMES)) * Math.min(frame.width, frame.height)];
    const [x, y] = [frame.left + frame.width / 2 + out * Math.cos(turn), frame.top + frame.height / 2 + out * Math.sin(turn)];
    const begun = performance.now();
    const hit = what === "pick" ? scene.pick(x, y) !== null : scene.stroke(x, y);
    const took = performance.now() - begun;
    if (!hit) continue;
    met += 1;
    times.push(took);
  }
  return { times, painted: Number(host.dataset.painted) };
}, [what, TIMES]);

/** Times until a cut that is dragged is answered, as the page asks for it. */
const cuts = (page, { centre, direction }, size) => page.evaluate(async ([centre, direction, size, TIMES]) => {
  const times = [];
  for (let k = 0; k < TIMES; k++) {
    const through = centre.map((x, i) => x - (0.3 * size * k * direction[i]) / TIMES);
    const begun = performance.now();
    const said = await fetch("api/section", { method: "POST", body: JSON.stringify({ through, facing: direction, of: "scan" }) });
    await said.json();
    times.push(performance.now() - begun);
  }
  return times;
}, [centre, direction, size, TIMES]);

try {
  const begun = Date.now();
  const { address } = await opened(t, dirname(scan), basename(scan));
  // The server reads it once, whoever looks.
  const { scan: read } = await until(address, (now) => now.scan?.has_surface);
  const read_s = (Date.now() - begun) / 1000;
  const chrome = await browser();
  ended.push(() => chrome.close());
  const { page, first, whole } = await picture(chrome, address);
  const told = await page.evaluate(() => {
    const { scene } = document.querySelector("[data-test=picture]");
    const entries = performance.getEntriesByType("resource");
    const { calls, triangles } = scene.renderer.info.render;
    return { calls, triangles, bytes: entries.reduce((sum, entry) => sum + entry.encodedBodySize, 0) };
  });
  const { scan: { examined } } = await until(address, (now) => now.scan?.examined);
  const picks = await timed(page, "pick");
  const strokes = await timed(page, "stroke");
  const end = examined.ends[0];
  const dragged = await cuts(page, end, Math.max(...examined.size));
  console.log(JSON.stringify({
    triangles: examined.triangles, file: read.file, read_s, first_picture_s: first, whole_picture_s: whole, draw_calls: told.calls,
    drawn_triangles: told.triangles, bytes_sent: told.bytes, picks: picks.times.length, pick_ms: median(picks.times),
    strokes: strokes.times.length, stroke_ms: median(strokes.times), painted: strokes.painted, cut_ms: median(dragged),
  }));
} finally {
  for (const end of ended.reverse()) await end();
}
