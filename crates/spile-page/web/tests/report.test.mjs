// The report in a browser: the part is turned, coloured and read by its own script; without
// script, or without WebGL, the page is a plain document. Numbers are held against the files
// that spile left.

import assert from "node:assert/strict";
import { readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";

import { browser, folder, pictured, spile } from "./bench.mjs";
import { CASE, duct } from "./duct.mjs";

let chrome;
let out;
let proof;

before(async () => {
  chrome = await browser();
  const cwd = await folder();
  await writeFile(join(cwd, "duct.stl"), duct());
  await writeFile(join(cwd, "duct.toml"), CASE);
  await spile("run", join(cwd, "duct.toml"));
  out = join(cwd, "duct-out");
  proof = JSON.parse(await readFile(join(out, "proof.json"), "utf8"));
});
after(() => chrome?.close());

/** The report in a window; whatever it asks for but itself is a fault. */
async function shown(t, options = {}) {
  const faults = [];
  const context = await chrome.newContext({ viewport: { width: 1100, height: 900 }, reducedMotion: "reduce", ...options });
  t.after(() => context.close());
  const page = await context.newPage();
  page.setDefaultTimeout(30_000);
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

test("a reader turns the part, sees its maps and reads them", async (t) => {
  const { page, faults } = await shown(t);
  const picture = page.getByTestId("turned");
  await picture.locator("canvas").waitFor();
  // Small enough to be shown whole: as many triangles as the part's file has.
  const stl = await readFile(join(out, "part.stl"));
  assert.equal(Number(await data(page, "part")), stl.readUInt32LE(80));
  assert.match(await page.locator("#turnable .note").last().textContent(), /^All .* triangles of the part are shown/);
  await page.waitForFunction(() => document.querySelector("[data-test=turned]").dataset.eye);

  // It turns by hand and by the keys.
  await picture.scrollIntoViewIfNeeded();
  const eye = await data(page, "eye");
  const box = await picture.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 80, y + 20, { steps: 4 });
  await page.mouse.up();
  await page.waitForFunction((eye) => document.querySelector("[data-test=turned]").dataset.eye !== eye, eye);
  const turned = await data(page, "eye");
  await picture.locator("canvas").focus();
  await page.keyboard.press("ArrowLeft");
  await page.waitForFunction((eye) => document.querySelector("[data-test=turned]").dataset.eye !== eye, turned);

  // The maps, on the very scale of the report's pictures.
  const maps = page.getByTestId("map");
  assert.deepEqual(await maps.locator("option").allTextContents(), ["what it is made of", "how far replaced scan lies from the scan", "how thick the wall is"]);
  await maps.selectOption("1");
  await page.waitForFunction(() => document.querySelector("[data-test=turned]").dataset.map);
  const [from] = numbers(await data(page, "map"));
  const least = Number((await page.getByTestId("scale").getAttribute("data-from")));
  assert.equal(from, least);
  const thinnest = proof.measures.thickness.least.bounds;
  assert.ok(least >= thinnest[0] - 1e-9 && least <= thinnest[1] + 1e-9, `${least} ${thinnest}`);
  await maps.selectOption("0");
  const deviation = proof.limits.find(({ name, where }) => name === "deviation" && where);
  await page.waitForFunction((least) => document.querySelector("[data-test=scale]").dataset.from !== String(least), least);
  const [low, high] = numbers(await data(page, "map"));
  assert.ok(low === -high && high > 0 && high <= deviation.asked);

  // Flown to a worst place, and what is read there.
  await page.getByRole("button", { name: /^wall_min at end upper: / }).click();
  const wall = proof.limits.find(({ name }) => name === "wall_min");
  await page.waitForFunction((where) => {
    const looked = document.querySelector("[data-test=turned]").dataset.looksAt.split(" ").map(Number);
    return looked.every((c, k) => Math.abs(c - where[k]) < 1e-3);
  }, wall.where);
  const told = await page.getByTestId("picked").textContent();
  const read = Number(/how thick the wall is, ([\d.]+) mm/.exec(told)[1]);
  // At the nearest point, not at the worst place itself.
  assert.ok(read >= wall.bounds[0] - 1e-3 && read < wall.bounds[0] + 0.3, `${told}; ${wall.bounds}`);
  await page.mouse.click(x, y);
  await page.waitForFunction((told) => document.querySelector("[data-test=picked]").textContent !== told, told);

  // Cut open lengthwise.
  await page.getByTestId("open").selectOption("0");
  await page.waitForFunction(() => document.querySelector("[data-test=turned]").dataset.open);
  await page.getByRole("button", { name: "Square to the bore at upper" }).click();
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
  await page.waitForLoadState("load");
  assert.equal(await page.evaluate(() => window.isOther), undefined);
  assert.equal(await page.locator("#turnable").isVisible(), false);
});
