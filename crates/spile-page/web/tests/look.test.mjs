// What a person sees: the cut and the fitting while they are moved, the part under its maps,
// sections, distances, defects. Numbers are held against the duct's own and against files.

import assert from "node:assert/strict";
import { copyFile, readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { browser, folder, level, made, opened, pictured, pressed, shown, spile, state, until, withDuct } from "./bench.mjs";
import { CASE, DUCT, duct, middle } from "./duct.mjs";

let chrome;

before(async () => {
  chrome = await browser();
});
after(() => chrome?.close());

const json = async (...way) => JSON.parse(await readFile(join(...way), "utf8"));
const near = (x, wished, by) => assert.ok(Math.abs(x - wished) < by, `${x}, not ${wished}`);
const far = (a, b) => Math.hypot(...a.map((x, k) => x - b[k]));
const data = (page, name) => page.evaluate((name) => document.querySelector("[data-test=picture]").dataset[name], name);

/** Drags the knob with this word, which has its place once the picture is drawn. */
async function dragged(page, address, word, by) {
  await level(page, address);
  const before = (await state(address)).case.text;
  const { x, y } = await page.locator(".labels .knob", { hasText: word }).boundingBox();
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + by[0], y + by[1], { steps: 4 });
  await page.mouse.up();
  await until(address, (now) => now.case.text !== before);
  await level(page, address);
}

const placeOf = (now) => now.case.values.end[0].place;

test("the cut slides along the bore and turns by its knob; the fitting is moved by hand", async (t) => {
  const { address, page, faults } = await withDuct(t, chrome);
  await page.getByLabel("upper: where the scan ends").selectOption("plane");
  await until(address, (now) => now.case.values.end[0].cut?.through);
  const slider = page.getByLabel("upper: slide the cut, mm");
  await slider.waitFor();
  await level(page, address);
  // By the keyboard, one step.
  await slider.focus();
  const before = await state(address);
  await page.keyboard.press("ArrowRight");
  const { case: { values } } = await until(address, (now) => now.case.text !== before.case.text);
  // It is on the duct's own arc, square to it.
  const { through, facing } = values.end[0].cut;
  near(Math.hypot(DUCT.bend - through[0], through[2]), DUCT.bend, 0.02);
  near(through[1], 0, 0.02);
  const way = middle(Math.atan2(through[2], DUCT.bend - through[0]) / DUCT.turn).along;
  near(facing.reduce((sum, x, k) => sum + x * way[k], 0), 1, 2e-4);
  await level(page, address);
  assert.ok(Number(await data(page, "reached")) > 100, await data(page, "reached"));
  await pictured(page, "ends");
  // Slid with the pointer the numbers follow before anything is changed.
  const steady = (await state(address)).case.text;
  await slider.evaluate((input) => {
    input.value = input.max / 2;
    input.dispatchEvent(new Event("input", { bubbles: true }));
  });
  await level(page, address);
  assert.match(await page.getByTestId("bore-0").textContent(), /roundness/);
  assert.equal((await state(address)).case.text, steady);
  await slider.evaluate((input) => input.dispatchEvent(new Event("change", { bubbles: true })));
  const half = await until(address, (now) => now.case.text !== steady);
  const angle = Math.atan2(half.case.values.end[0].cut.through[2], DUCT.bend - half.case.values.end[0].cut.through[0]);
  near(angle / DUCT.turn, 0.5, 0.06);
  await level(page, address);
  await pressed(page, address, /^Undo/);

  // The fitting's knobs: the first are the cut's, the last the fitting's.
  await pressed(page, address, "Square to the bore at upper");
  await page.getByLabel("upper: place of the fitting").selectOption("at");
  const from = placeOf(await until(address, (now) => placeOf(now).at));
  await dragged(page, address, "aside", [12, 9]);
  const to = placeOf(await state(address));
  const moved = to.at.map((c, k) => c - from.at[k]);
  assert.ok(Math.hypot(...moved) > 0.05, JSON.stringify(to));
  // Square to its axis, which has not turned.
  near(moved.reduce((sum, c, k) => sum + c * from.along[k], 0), 0, 0.01);
  near(far(to.along, from.along), 0, 0.01);
  await dragged(page, address, /^tilt$/, [25, 5]);
  const tilted = placeOf(await state(address));
  near(far(tilted.at, to.at), 0, 1e-3);
  const turned = tilted.along;
  near(Math.hypot(...turned), 1, 1e-3);
  assert.ok(far(turned, to.along) > 0.02, JSON.stringify(turned));
  await page.getByRole("button", { name: /^Undo/ }).click();
  await until(address, (now) => far(placeOf(now).along, to.along) < 1e-9);
  assert.deepEqual(faults, []);
});

test("fittings from the table and from a file", async (t) => {
  const { cwd, address, page, faults } = await withDuct(t, chrome);
  const table = JSON.parse((await spile("fittings", "--json")).stdout).fittings;
  const fitting = page.getByLabel("upper: fitting", { exact: true });
  await page.waitForFunction(() => document.querySelector('[aria-label="upper: fitting"]').options.length > 4);
  const words = await fitting.locator("option").allTextContents();
  const sizes = table.flatMap((kind) => kind.sizes.map((size) => `a standard ${kind.kind} ${size.size}`));
  for (const size of sizes) assert.ok(words.some((word) => word.startsWith(size)), `${size} in ${words}`);
  await fitting.selectOption("cone breathing-15");
  const cone = await until(address, (now) => now.case.values.end[0].fitting.kind === "cone");
  assert.equal(cone.case.values.end[0].fitting.size, "breathing-15");
  assert.equal(cone.case.refused, null, JSON.stringify(cone.case.refused));
  assert.equal(cone.case.values.end[0].reach, 8);
  await fitting.selectOption("file");
  await page.getByLabel("upper: fitting's file from elsewhere").setInputFiles(
    new URL("../../../../tests/scans/step/trachea-nozzle-inch.step", import.meta.url).pathname,
  );
  const step = await until(address, (now) => now.case.values.end[0].fitting.kind === "step");
  assert.equal(step.case.values.end[0].fitting.file, "trachea-nozzle-inch.step");
  assert.equal(
    Buffer.compare(await readFile(join(cwd, "trachea-nozzle-inch.step")), await readFile(new URL("../../../../tests/scans/step/trachea-nozzle-inch.step", import.meta.url))), 0,
  );
  await page.getByLabel("upper: place of the fitting").selectOption("as-modelled");
  const modelled = await until(address, (now) => now.case.values.end[0].place === "as-modelled");
  assert.equal(modelled.case.refused, null, JSON.stringify(modelled.case.refused));
  assert.deepEqual(faults, []);
});

test("the part under its maps, cut open, measured; the section at the strip's station", async (t) => {
  const { cwd, address, page, faults } = await withDuct(t, chrome);
  await made(page, address);
  const proof = await json(cwd, "duct-out", "proof.json");
  await until(address, (now) => now.result?.has_maps);
  const coloured = async (by) => {
    await page.getByLabel("what the part is coloured by").selectOption(by);
    await level(page, address);
  };
  await coloured("wall");
  const scale = page.getByTestId("scale");
  await scale.waitFor();
  // The duct's wall is even.
  const to = Number(await scale.getAttribute("data-to"));
  near(to, (DUCT.outside - DUCT.bore) / 2, 0.5);
  assert.match(await data(page, "map"), /\d/);
  assert.match(await scale.textContent(), /limit 1\.2/);
  const deepest = proof.limits.find((limit) => limit.name === "wall_min");
  if (deepest.measured >= 1.2) assert.equal(await scale.getAttribute("data-beyond"), "0");
  await page.getByLabel("with the triangles' edges").check();
  await level(page, address);
  await pictured(page, "map");
  await coloured("deviation");
  assert.ok(Number(await scale.getAttribute("data-from")) < 0);
  const deviation = proof.limits.find((limit) => limit.name === "deviation");
  near(Number(await scale.getAttribute("data-to")), Math.max(deviation.asked, deviation.measured), 0.03);
  await pictured(page, "deviation");
  await coloured("none");
  assert.equal(await data(page, "map"), "");
  // The section at the strip's first station: the scan's own wall, less what 48 sides take.
  await page.getByLabel("station", { exact: true }).fill("1");
  const section = page.getByTestId("section");
  await section.waitFor();
  await level(page, address);
  near(Number(await section.getAttribute("data-least")), 2, 0.25);
  assert.match(await section.textContent(), /wall \d/);
  await page.getByLabel("where the picture is cut open").selectOption("station");
  await level(page, address);
  const open = (await data(page, "open")).split(" ").map(Number);
  const end = proof.ends.find((end) => end.stations.length > 1);
  near(far(open, end.stations[1].at), 0, 2e-3);
  await pictured(page, "opened");
  await page.getByLabel("where the picture is cut open").selectOption("none");
  // The report as the page hands it out, in a frame without rights: its script turns the part there, too.
  const report = await page.context().newPage();
  report.on("pageerror", (error) => faults.push(String(error)));
  report.on("console", (said) => said.type() === "error" && faults.push(said.text()));
  await report.goto(`${address}out/report.html`);
  await report.locator("[data-test=turned][data-eye]").waitFor();
  assert.equal(await report.getByTestId("turned").getAttribute("data-part"), String(proof.part.triangles));
  assert.equal(await report.evaluate(() => globalThis.origin), "null");
  await report.close();
  // Two places, and the distance between them.
  // From a side, whatever was looked along before.
  await pressed(page, address, "Along the bore at upper");
  await pressed(page, address, "All of it");
  const looked = await page.getByTestId("picture").evaluate((host) => ["eye", "looksAt"].map((key) => host.dataset[key].split(" ").map(Number)));
  const out = looked[0].map((x, k) => x - looked[1][k]);
  const length = Math.hypot(...out);
  [0.6, -1, 0.25].forEach((x, k) => assert.ok(Math.abs(out[k] / length - x / Math.hypot(0.6, 1, 0.25)) < 1e-3, `${out}`));
  const box = await page.getByTestId("picture").boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.click(x, y);
  await page.getByTestId("measured").waitFor();
  const one = /at (-?\d+(?:\.\d+)?), (-?\d+(?:\.\d+)?), (-?\d+(?:\.\d+)?)/.exec(await page.getByTestId("measured").textContent()).slice(1).map(Number);
  await page.mouse.click(x, y + 30);
  await page.getByTestId("measured").getByText("apart").waitFor();
  const said = await page.getByTestId("measured").textContent();
  const two = /at (-?\d+(?:\.\d+)?), (-?\d+(?:\.\d+)?), (-?\d+(?:\.\d+)?)/.exec(said).slice(1).map(Number);
  near(Number(/: ([\d.]+) mm apart/.exec(said)[1]), far(one, two), 0.02);
  assert.deepEqual(faults, []);
});

test("a defect is drawn by its own outline, mended, and what was done is told", async (t) => {
  const cwd = await folder(t);
  // The duct without two of its triangles, and with one turned over.
  const whole = duct();
  const broken = Buffer.concat([whole.subarray(0, 84), whole.subarray(84 + 50 * 1000, 84 + 50 * 7000), whole.subarray(84, 84 + 50 * 1000), whole.subarray(84 + 50 * 7002)]);
  broken.writeUInt32LE((broken.length - 84) / 50, 80);
  await writeFile(join(cwd, "duct.stl"), broken);
  await writeFile(join(cwd, "duct.toml"), CASE);
  const faults = [];
  const { address } = await opened(t, cwd, "duct.toml");
  const page = await shown(t, chrome, address, faults);
  await page.getByTestId("findings").waitFor();
  await level(page, address);
  const { findings } = (await state(address)).scan.examined;
  const hole = findings.findIndex((finding) => finding.kind === "hole");
  assert.ok(hole >= 0, JSON.stringify(findings));
  const pairs = new Float32Array(await (await fetch(`${address}api/scan/finding/${hole}`)).arrayBuffer());
  // Two triangles that share an edge leave a loop of four edges, each from point to point.
  assert.equal(pairs.length, 4 * 6);
  for (let k = 0; k < 4; k++) {
    const next = pairs.slice(6 * ((k + 1) % 4), 6 * ((k + 1) % 4) + 3);
    assert.deepEqual([...pairs.slice(6 * k + 3, 6 * k + 6)], [...next]);
  }
  await page.getByRole("button", { name: new RegExp(`^${hole + 1}\\. 1 × hole`) }).click();
  await page.locator(".labels span", { hasText: String(hole + 1) }).waitFor();
  await level(page, address);
  await pictured(page, "outline");
  await page.getByRole("button", { name: "Mend the scan now" }).click();
  await page.getByTestId("mended").waitFor();
  const now = await until(address, (now) => now.scan?.examined && now.scan.file === "duct-mended.stl");
  await level(page, address);
  assert.equal(now.case.values.scan.file, "duct-mended.stl");
  assert.ok(now.scan.mended.mends.some((mend) => mend.kind === "hole"));
  assert.equal(await page.getByTestId("mended").locator("ol > li").count(), now.scan.mended.mends.length);
  const examined = JSON.parse((await spile("examine", "--json", join(cwd, "duct-mended.stl"))).stdout);
  assert.ok(!examined.findings.some((finding) => finding.kind === "hole"));
  assert.equal(Buffer.compare(await readFile(join(cwd, "duct.stl")), broken), 0);
  await page.getByRole("button", { name: /^Undo/ }).click();
  await until(address, (now) => now.scan?.file === "duct.stl");
  assert.deepEqual(faults, []);
});

test("a scan of doubtful unit raises a doubt", async (t) => {
  const cwd = await folder(t);
  const small = duct();
  for (let at = 84; at < small.length; at += 50) {
    for (let k = 12; k < 48; k += 4) small.writeFloatLE(small.readFloatLE(at + k) / 1000, at + k);
  }
  await writeFile(join(cwd, "duct.stl"), small);
  const { address } = await opened(t, cwd, "duct.stl");
  const page = await shown(t, chrome, address);
  const doubt = page.getByTestId("doubt");
  await doubt.waitFor();
  assert.match(await doubt.textContent(), /Check it/);
  await copyFile(join(cwd, "duct.stl"), join(cwd, "other.stl"));
  await page.getByLabel("unit of the scan").selectOption("mm");
  await until(address, (now) => now.case.values.unit === "mm");
  // The earlier doubt stands until the state has come.
  await doubt.filter({ hasText: "unusual" }).waitFor();
});
