// The report in a browser: the part is turned, coloured and read by its own script; without
// script, or without WebGL, the page is a plain document. Numbers are held against the files
// that spile left.

import assert from "node:assert/strict";
import { readFile, rm, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";

import { browser, folder, PATIENCE, pictured, slowed, spile, toldOf } from "./bench.mjs";
import { CASE, duct } from "./duct.mjs";

let chrome;
let cwd;
let out;
let proof;

before(async () => {
  chrome = await browser();
  cwd = await folder();
  await writeFile(join(cwd, "duct.stl"), duct());
  await writeFile(join(cwd, "duct.toml"), CASE);
  await spile("run", join(cwd, "duct.toml"));
  out = join(cwd, "duct-out");
  proof = JSON.parse(await readFile(join(out, "proof.json"), "utf8"));
});
after(async () => {
  await chrome?.close();
  if (cwd) await rm(cwd, { recursive: true, force: true });
});

/** The report in a window; whatever it asks for but itself is a fault. */
async function shown(t, options = {}) {
  const faults = [];
  const context = await chrome.newContext({ viewport: { width: 1100, height: 900 }, reducedMotion: "reduce", ...options });
  t.after(() => toldOf(t, context));
  t.after(() => context.close());
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE);
  if (options.javaScriptEnabled !== false) await slowed(page);
  const address = pathToFileURL(join(out, "report.html")).href;
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("console", (said) => said.type() === "error" && faults.push(said.text()));
  page.on("request", (request) => {
    if (request.url() !== address && !/^(data|blob):/.test(request.url())) faults.push(`asked elsewhere: ${request.url()}`);
  });
  await page.goto(address);
  return { page, faults };
}

const data = (page, name) => page.getByTestId("turned").getAttribute(`data-${name}`);
const numbers = (text) => text.split(" ").map(Number);
/** Waits until what follows from what was done last is there: each effect comes after a frame. */
const shownAll = (page) => page.evaluate(async () => {
  for (let k = 0; k < 4; k++) await new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve)));
});

test("a reader turns the part, sees its maps and reads them", async (t) => {
  const { page, faults } = await shown(t);
  const picture = page.getByTestId("turned");
  await picture.locator("canvas").waitFor();
  // Small enough to be shown whole: as many triangles as the part's file has.
  const stl = await readFile(join(out, "part.stl"));
  assert.equal(Number(await data(page, "part")), stl.readUInt32LE(80));
  assert.match(await page.locator("#turnable .note").last().textContent(), /^All .* triangles of the part are shown/);
  await page.waitForFunction(() => document.querySelector("[data-test=turned]").dataset.eye);

  await shownAll(page);

  // It turns by hand and by the keys.
  const middle = async () => {
    await picture.scrollIntoViewIfNeeded();
    await shownAll(page);
    const { x, y, width, height } = await picture.boundingBox();
    return [x + width / 2, y + height / 2];
  };
  const eye = await data(page, "eye");
  const [x, y] = await middle();
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 80, y + 20, { steps: 4 });
  await page.mouse.up();
  await shownAll(page);
  const turned = await data(page, "eye");
  assert.notEqual(turned, eye);
  await picture.locator("canvas").focus();
  await page.keyboard.press("ArrowLeft");
  await shownAll(page);
  assert.notEqual(await data(page, "eye"), turned);

  // The maps, on the very scale of the report's pictures.
  const maps = page.getByTestId("map");
  assert.deepEqual(await maps.locator("option").allTextContents(), ["what it is made of", "how far replaced scan lies from the scan", "how thick the wall is"]);
  const coloured = async (by) => {
    await maps.selectOption(by);
    await shownAll(page);
    return numbers(await data(page, "map"));
  };
  const [from] = await coloured("1");
  const least = Number(await page.getByTestId("scale").getAttribute("data-from"));
  assert.equal(from, least);
  const thinnest = proof.measures.thickness.least.bounds;
  assert.ok(least >= thinnest[0] - 1e-9 && least <= thinnest[1] + 1e-9, `${least} ${thinnest}`);
  const deviation = proof.limits.find(({ name, where }) => name === "deviation" && where);
  const [low, high] = await coloured("0");
  assert.ok(low === -high && high > 0 && high <= deviation.asked, `${low} ${high} ${deviation.asked}`);

  // Flown to a worst place, and what is read there.
  await page.getByRole("button", { name: /^wall_min at end upper: / }).click();
  await shownAll(page);
  const wall = proof.limits.find(({ name }) => name === "wall_min");
  const looked = numbers(await data(page, "looks-at"));
  assert.ok(looked.every((c, k) => Math.abs(c - wall.where[k]) < 1e-3), `${looked}; ${wall.where}`);
  const picked = () => page.getByTestId("picked").textContent();
  const told = await picked();
  const read = Number(/how thick the wall is, ([\d.]+) mm/.exec(told)?.[1]);
  // At the nearest point, not at the worst place itself.
  assert.ok(read >= wall.bounds[0] - 1e-3 && read < wall.bounds[0] + 0.3, `${told}; ${wall.bounds}`);
  // Pointed at near that place, where there is some of the part under the pointer: other
  // numbers. The picture may have moved in the window, for the buttons lie below it.
  const [mx, my] = await middle();
  for (const [dx, dy] of [[40, 0], [-40, 0], [0, 40], [0, -40], [0, 0]]) {
    await page.mouse.click(mx + dx, my + dy);
    await shownAll(page);
    if ((await picked()) !== told) break;
  }
  const there = await picked();
  assert.match(there, /^At -?[\d.]+, -?[\d.]+, -?[\d.]+;/);
  assert.notEqual(there, told);

  // Cut open lengthwise.
  await page.getByTestId("open").selectOption("0");
  await shownAll(page);
  assert.match(await data(page, "open"), /\d/);
  await page.getByRole("button", { name: "Square to the bore at upper" }).click();
  await shownAll(page);
  await pictured(page, "report-turned");
  assert.deepEqual(faults, []);
});

test("without script the report is a plain document", async (t) => {
  const { page, faults } = await shown(t, { javaScriptEnabled: false });
  assert.equal(await page.locator("#turnable").isVisible(), false);
  assert.ok((await page.locator("figure img").count()) >= 6);
  assert.ok((await page.locator("table").first().textContent()).includes("deviation"));
  assert.deepEqual(faults, []);
});

test("the report runs no other script than its own", async (t) => {
  const text = await readFile(join(out, "report.html"), "utf8");
  assert.ok(text.length < 5e6);
  await writeFile(join(out, "report.html"), text.replace("<script>//", "<script>window.isOther=1;//"));
  t.after(() => writeFile(join(out, "report.html"), text));
  const { page } = await shown(t);
  await shownAll(page);
  assert.equal(await page.evaluate(() => window.isOther), undefined);
  assert.equal(await page.locator("#turnable").isVisible(), false);
});
