// The whole job on a small invented duct whose numbers are known, by what a person sees and
// presses: cut, fitting, keeps, making, maps, proof.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { readdir, readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { browser, delayed, dropped, folder, level, looksAt, made, opened, pictured, pressed, shown, spile, state, typed, until, withDuct } from "./bench.mjs";
import { CASE, DUCT, duct, middle } from "./duct.mjs";

let chrome;

before(async () => {
  chrome = await browser();
});
after(() => chrome?.close());

const json = async (...way) => JSON.parse(await readFile(join(...way), "utf8"));
const run = (page) => page.getByRole("button", { name: "Make the part" }).click();
const near = (x, wished, by) => assert.ok(Math.abs(x - wished) < by, `${x}, not ${wished}`);
const shows = (page, label, value) =>
  page.waitForFunction(([label, value]) => document.querySelector(`[aria-label="${label}"]`)?.value === value, [label, value]);

test("from a dropped scan to a part that the command line proves; reload in the middle", async (t) => {
  const cwd = await folder(t);
  const from = await folder(t);
  await writeFile(join(from, "duct.stl"), duct());
  const faults = [];
  const { address } = await opened(t, cwd);
  const page = await shown(t, chrome, address, faults);
  await dropped(page, join(from, "duct.stl"), "duct.stl");
  await page.getByTestId("size").waitFor();
  const triangles = 4 * DUCT.around * DUCT.along;
  assert.equal((await page.getByTestId("triangles").textContent()).replaceAll(/\D/g, ""), String(triangles));
  await page.waitForFunction((n) => document.querySelector("[data-test=picture]").dataset.scan === n, String(triangles));
  const far = middle(1).at;
  const { case: { values } } = await until(address, (now) => now.case !== null);
  const upper = values.end.findIndex((end) => (end.rim ?? end.cut.from)[2] > 20);
  const name = values.end[upper].name;
  if (upper !== 0) {
    await page.getByLabel(`${name}: fitting`, { exact: true }).selectOption("tube");
    await page.getByLabel(`${values.end[1 - upper].name}: fitting`, { exact: true }).selectOption("none");
  }
  await page.getByLabel(`${name}: where the scan ends`).selectOption("station");
  await until(address, (now) => now.case.values.end[upper].cut?.along > 0);
  await typed(page, address, `${name}: way below the rim, mm`, "4");
  // The bore there, told while the cut is slid: the duct's own circle, of 48 sides.
  const area = (DUCT.around / 2) * (DUCT.bore / 2) ** 2 * Math.sin((2 * Math.PI) / DUCT.around);
  await level(page, address);
  const told = await page.getByTestId(`bore-${upper}`).textContent();
  near(Number(/has ([\d.]+)/.exec(told)[1]), area, 0.01 * area);
  near(Number(/is ([\d.]+) to/.exec(told)[1]), DUCT.bore, 0.05);
  near(Number(/to ([\d.]+) mm wide/.exec(told)[1]), DUCT.bore, 0.05);
  await typed(page, address, `${name}: bore of the tube, mm`, "10");
  await typed(page, address, `${name}: outside of the tube, mm`, "14");
  await typed(page, address, `${name}: reach, mm`, "8");
  await typed(page, address, `${name}: gap, mm`, "9");
  for (const limit of ["wall_min", "bore_loss", "kink"]) {
    const ask = page.locator(`[data-limit=${limit}]`).getByRole("button", { name: /^Ask for/ });
    if (await ask.count()) await ask.click();
  }
  await typed(page, address, "wall_min, mm", "1.2");
  await typed(page, address, "bore_loss, %", "2");
  await typed(page, address, "kink, °", "15");
  // Reload in the middle: nothing is lost.
  await page.reload();
  assert.equal(await page.getByLabel(`${name}: gap, mm`, { exact: true }).inputValue(), "9");
  // At once after a press, too: what was asked is on its way.
  await run(page);
  await page.reload();
  const done = await until(address, (now) => now.run.is === "done" && now.result?.has_surface);
  const proof = await json(cwd, done.result.folder, "proof.json");
  assert.equal(proof.verdict, "held", JSON.stringify(proof.limits.filter((l) => l.verdict === "broken")));
  await level(page, address);
  assert.match(await page.getByTestId("verdict").textContent(), /All limits that are asked are held/);
  assert.equal(await page.locator("ul.limits > li").count(), proof.limits.length);
  await page.waitForFunction((n) => document.querySelector("[data-test=picture]").dataset.part === n, String(proof.part.triangles));
  await page.locator("li[data-limit=wall_min] > button").first().click();
  await looksAt(page, proof.limits.find((limit) => limit.name === "wall_min" && limit.where).where);
  const download = page.waitForEvent("download");
  await page.getByRole("link", { name: "part.stl" }).click();
  const part = await readFile(await (await download).path());
  assert.equal(createHash("sha256").update(part).digest("hex"), proof.outputs.find((file) => file.file === "part.stl").sha256);
  await writeFile(join(cwd, "downloaded.stl"), part);
  const proved = await spile("prove", join(cwd, done.result.folder, "case.toml"), "--part", join(cwd, "downloaded.stl"));
  assert.equal(proved.code, 0, proved.stdout);
  assert.ok(far[2] > 0);
  assert.deepEqual(faults, []);
});

test("undo and redo, two windows, and a stop that works at once", async (t) => {
  // Small edges: making this takes far longer than pressing a button may.
  const { cwd, server, address, page, faults } = await withDuct(t, chrome, `${CASE}\n[joint]\nedge = 0.07\n`);
  const other = await shown(t, chrome, address, faults);
  const reach = "upper: reach, mm";
  const field = page.getByLabel(reach, { exact: true });
  await typed(page, address, reach, "7");
  await typed(page, address, reach, "6.5");
  await shows(other, reach, "6.5");
  await other.getByRole("button", { name: /^Undo/ }).click();
  await shows(page, reach, "7");
  await page.getByRole("button", { name: /^Undo/ }).click();
  await shows(other, reach, "8");
  assert.equal(await readFile(join(cwd, "duct.toml"), "utf8"), (await state(address)).case.text);
  await page.getByRole("button", { name: /^Redo/ }).click();
  await shows(other, reach, "7");
  // What is no number is told and changes nothing; what the reader refuses is told too.
  await field.fill("far");
  await field.press("Enter");
  await page.getByText("this is no number").waitFor();
  assert.equal((await state(address)).case.values.end[0].reach, 7);
  await typed(page, address, reach, "-3");
  // In its own end, and by its name.
  const told = await page.locator(".end").first().getByRole("alert").textContent();
  assert.match(told, /^reach: expected a number above 0: -3/);
  assert.ok(await page.getByRole("button", { name: "Make the part" }).isDisabled());
  await page.getByRole("button", { name: /^Undo/ }).click();
  await shows(other, reach, "7");

  await run(page);
  await until(address, (now) => now.run.is === "running");
  await other.getByRole("button", { name: "Stop" }).click();
  await page.getByText("It was stopped").waitFor();
  // While the thread still computes, it is over for whoever looks; nothing was written.
  assert.equal((await state(address)).run.is, "stopped");
  assert.ok(await page.getByRole("button", { name: "Make the part" }).isEnabled());
  assert.deepEqual((await readdir(cwd)).sort(), ["duct.stl", "duct.toml"]);
  // It ends when it is told to, and says so on the page.
  const ended = new Promise((resolve) => server.on("exit", resolve));
  await page.getByRole("button", { name: "End spile" }).click();
  assert.equal(await ended, 0);
  await page.getByText("does not answer any more").first().waitFor();
});

test("limits that fight, the suggestion that settles it, and both results side by side", async (t) => {
  const { cwd, address, page } = await withDuct(t, chrome, CASE.replace("wall_min = 1.2", "wall_min = 2.5"));
  await made(page, address);
  await page.getByTestId("conflict").first().waitFor();
  const first = await json(cwd, "duct-out", "proof.json");
  assert.equal(first.verdict, "broken");
  const conflict = first.conflicts.find((found) => found.limits.includes("wall_min"));
  const wanted = conflict.would_hold.find((one) => one.key === "limits.wall_min") ?? conflict.would_hold[0];
  await page.getByRole("button", { name: new RegExp(`^Set ${wanted.key}`) }).first().click();
  const now = await until(address, (now) => now.case.undo !== null);
  if (wanted.key === "limits.wall_min") assert.equal(now.case.values.limits.wall_min, wanted.value);
  await page.getByText("The case was changed since").waitFor();
  await made(page, address);
  const second = await json(cwd, "duct-out", "proof.json");
  const row = (proof) => proof.limits.find((limit) => limit.name === "wall_min" && limit.asked !== null);
  assert.equal(row(second).verdict, "held", JSON.stringify(row(second)));
  await page.getByTestId("beside").locator("summary").click();
  const told = await page.getByTestId("beside").locator("tr", { hasText: "wall_min" }).first().textContent();
  assert.match(told, /broken/);
  assert.match(told, /held/);
  const triangles = await page.getByTestId("beside").locator("tr", { hasText: "triangles" }).locator("td").allTextContents();
  assert.deepEqual(triangles.map((text) => Number(text.replaceAll(/\D/g, ""))), [first, second].map((proof) => proof.part?.triangles ?? 0));
});

test("painted, erased, undone: a keep is in the case and in the part", async (t) => {
  const { cwd, address, page, faults } = await withDuct(t, chrome);
  const picture = page.getByTestId("picture");
  await pressed(page, address, "Square to the bore at upper");
  await page.getByLabel("radius of the brush, mm", { exact: true }).fill("1.5");
  await page.getByLabel("radius of the brush, mm", { exact: true }).press("Enter");
  await pressed(page, address, "Paint");
  const box = await picture.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  // Within reach, and clear of the rim: what is kept there cannot be cut.
  await page.mouse.move(x + 40, y + 95);
  await page.mouse.down();
  await page.mouse.move(x + 75, y + 85, { steps: 6 });
  await page.mouse.up();
  const painted = await until(address, (now) => now.case.values.keep?.length === 1);
  const { file } = painted.case.values.keep[0];
  const first = await json(cwd, file);
  const scan = JSON.parse((await spile("examine", "--json", join(cwd, "duct.stl"))).stdout);
  assert.equal(first.scan_sha256, scan.sha256);
  assert.ok(first.triangles.length > 10, `${first.triangles.length}`);
  await level(page, address);
  const paints = () => picture.getAttribute("data-painted");
  assert.equal(await paints(), String(first.triangles.length));
  await pictured(page, "keeps");
  // All of them on the outside, as the place that was painted: the wall is thinner than the brush is wide.
  const bytes = await readFile(join(cwd, "duct.stl"));
  const radius = (t) => Math.max(...[0, 1, 2].map((k) => {
    const [px, py, pz] = [0, 4, 8].map((b) => bytes.readFloatLE(84 + 50 * t + 12 + 12 * k + b));
    return Math.hypot(DUCT.bend - Math.hypot(px - DUCT.bend, pz), py);
  }));
  for (const triangle of first.triangles) near(radius(triangle), DUCT.outside / 2, 0.05);
  // Another stroke, by the keyboard, in the middle of the picture; then it is erased.
  await pressed(page, address, "All of it");
  await picture.locator("canvas").focus();
  await page.keyboard.press("Enter");
  const more = await until(address, (now) => now.case.values.keep[0].file !== file);
  const second = await json(cwd, more.case.values.keep[0].file);
  assert.ok(second.triangles.length > first.triangles.length);
  assert.ok(first.triangles.every((t) => second.triangles.includes(t)));
  await level(page, address);
  await pressed(page, address, "Erase");
  await picture.locator("canvas").focus();
  await page.keyboard.press("Enter");
  const less = await until(address, (now) => now.case.values.keep[0].file !== more.case.values.keep[0].file);
  assert.ok((await json(cwd, less.case.values.keep[0].file)).triangles.length < second.triangles.length);
  await level(page, address);
  await pressed(page, address, "Stop erasing");
  // Undone step by step, down to no keep; files that nothing names are gone.
  for (let k = 0; k < 3; k++) await pressed(page, address, /^Undo/);
  assert.deepEqual((await state(address)).case.values.keep ?? [], []);
  assert.equal(await paints(), "0");
  assert.deepEqual((await readdir(cwd)).sort(), ["duct.stl", "duct.toml"]);
  await pressed(page, address, /^Redo/);
  assert.equal(await paints(), String(first.triangles.length));
  // A box beside it, where one points.
  await page.mouse.click(x, y);
  await pressed(page, address, "Keep a box there");
  const { case: { values } } = await until(address, (now) => now.case.values.keep.length === 2);
  assert.ok(values.keep[1].box.min.every((low, k) => low < values.keep[1].box.max[k]));
  await pressed(page, address, /^Undo/);
  await made(page, address);
  const proof = await json(cwd, "duct-out", "proof.json");
  const untouched = proof.limits.find((limit) => limit.name === "untouched");
  assert.equal(untouched.verdict, "held", JSON.stringify(untouched));
  assert.deepEqual(faults, []);
});

test("strokes that follow each other fast are all kept, and erased where the brush was", async (t) => {
  const { cwd, address, page, faults } = await withDuct(t, chrome);
  // An answer that comes late must not take back what was painted since.
  for (const way of ["**/api/paint", "**/api/keep/*"]) await delayed(page, way, () => 400);
  const picture = page.getByTestId("picture");
  await pressed(page, address, "All of it");
  await pressed(page, address, "Paint");
  const box = await picture.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  const drag = async (...places) => {
    await page.mouse.move(...places[0]);
    await page.mouse.down();
    for (const place of places.slice(1)) await page.mouse.move(...place, { steps: 5 });
    await page.mouse.up();
  };
  const count = async () => Number(await picture.getAttribute("data-painted"));
  const counts = [0];
  const row = (down) => [[x - 20, y + down], [x, y + down + 5], [x + 20, y + down]];
  for (const down of [-60, -30, 0]) {
    await drag(...row(down));
    counts.push(await count());
  }
  // The answers to all of them come while the brush is on the scan once more.
  const [first, ...rest] = row(-75);
  await page.mouse.move(...first);
  await page.mouse.down();
  await page.mouse.move(...rest[0], { steps: 5 });
  const begun = await count();
  await level(page, address);
  assert.equal(await count(), begun);
  await page.mouse.move(...rest[1], { steps: 5 });
  await page.mouse.up();
  counts.push(await count());
  // Each stroke painted more, and all of it comes to the case.
  assert.ok(counts.every((n, k) => k === 0 || n > counts[k - 1]), counts.join());
  const kept = async () => {
    await level(page, address);
    return (await json(cwd, (await state(address)).case.values.keep[0].file)).triangles;
  };
  const painted = await kept();
  assert.equal(painted.length, counts.at(-1));
  assert.equal(await count(), counts.at(-1));
  // Erased along an earlier stroke: what is left is what the others painted.
  await pressed(page, address, "Erase");
  await drag(...row(0));
  const erased = await count();
  const left = await kept();
  assert.equal(left.length, erased);
  assert.ok(left.length > 0 && left.length < painted.length, `${left.length} of ${counts}`);
  assert.ok(left.every((triangle) => painted.includes(triangle)));
  assert.deepEqual(faults, []);
});
