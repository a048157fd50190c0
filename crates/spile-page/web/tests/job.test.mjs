// The job in a browser, by what a person sees and presses. Numbers are held against the
// files that spile leaves and against the command line.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { browser, dropped, folder, level, looksAt, opened, pictured, shown, spile, state, typed, until } from "./bench.mjs";

const SCAN = "phantom-invented.stl";
let chrome;
let demo;

before(async () => {
  chrome = await browser();
  demo = await folder();
  assert.equal((await spile("demo", "--out", demo)).code, 0);
});
after(() => chrome?.close());

const json = async (...way) => JSON.parse(await readFile(join(...way), "utf8"));
const run = (page) => page.getByRole("button", { name: "Make the part" }).click();
const isDone = (now) => ["done", "failed"].includes(now.run.is);

test("from a dropped scan to a part that the command line proves", async (t) => {
  const cwd = await folder(t);
  const faults = [];
  const { address } = await opened(t, cwd);
  const page = await shown(t, chrome, address, faults);
  await pictured(page, "empty");
  await dropped(page, join(demo, SCAN), SCAN);
  await page.getByTestId("size").waitFor();
  await level(page, address);
  const examined = JSON.parse((await spile("examine", "--json", join(demo, SCAN))).stdout);
  const count = (await page.getByTestId("triangles").textContent()).replaceAll(/\D/g, "");
  assert.equal(Number(count), examined.triangles);
  const size = (await page.getByTestId("size").textContent()).split("×").map(Number);
  size.forEach((x, k) => assert.ok(Math.abs(x - examined.size[k]) < 1e-3 * examined.size[k], `${x}`));
  assert.equal(await page.getByTestId("picture").getAttribute("data-scan"), String(examined.triangles));
  await pictured(page, "scan");

  // The demo's own job, typed in by hand: where the starter case has its first rim.
  const upper = (await state(address)).scan.examined.ends.findIndex((end) => end.centre[2] > 50);
  const name = `end-${upper + 1}`;
  if (upper !== 0) {
    await page.getByLabel(`${name}: fitting`).selectOption("tube");
    await page.getByLabel("end-1: fitting").selectOption("none");
  }
  await page.getByLabel(`${name}: where the scan ends`).selectOption("plane");
  const points = {
    "point of the plane": ["5.66", "4.405", "89.278"], facing: ["0.3349", "0.1489", "0.9304"],
  };
  for (const [label, values] of Object.entries(points)) {
    for (const k of [0, 1, 2]) await typed(page, address, `${name}: ${label}, ${"xyz"[k]}`, values[k]);
  }
  await level(page, address);
  const bore = await page.getByTestId(`bore-${upper}`).textContent();
  // A circle of the demo's 16 mm, within its noise.
  assert.ok(Math.abs(Number(/circle of ([\d.]+)/.exec(bore)[1]) - 16) < 0.5, bore);
  await typed(page, address, `${name}: bore of the tube, mm`, "16");
  await typed(page, address, `${name}: outside of the tube, mm`, "20");
  await typed(page, address, `${name}: length of the tube, mm`, "25");
  await typed(page, address, `${name}: reach, mm`, "12,0");
  await typed(page, address, `${name}: gap, mm`, "14");
  for (const limit of ["wall_min", "bore_loss", "kink", "ball_min"]) {
    await page.locator(`[data-limit=${limit}]`).getByRole("button", { name: /^Ask for/ }).click();
  }
  await typed(page, address, "wall_min, mm", "1.5");
  await typed(page, address, "ball_min, mm", "14");
  await pictured(page, "ends");

  // Reload in the middle: nothing is lost.
  await page.reload();
  assert.equal(await page.getByLabel(`${name}: gap, mm`, { exact: true }).inputValue(), "14");
  assert.equal(await page.getByLabel("bore_loss, %", { exact: true }).inputValue(), "1");
  await run(page);
  await until(address, (now) => now.run.is === "running" && now.run.steps.length > 2);
  await page.reload();
  await page.getByRole("button", { name: "Stop" }).waitFor();
  await pictured(page, "making");
  const made = await until(address, isDone);
  assert.equal(made.run.is, "done", JSON.stringify(made.run));
  const stem = SCAN.replace(".stl", "");
  const out = join(cwd, `${stem}-out`);
  const proof = await json(out, "proof.json");
  assert.equal(proof.verdict, "held");
  await level(page, address);
  assert.match(await page.getByTestId("verdict").textContent(), /All limits that are asked are held/);
  const rows = await page.locator("ul.limits > li").count();
  assert.equal(rows, proof.limits.length);
  const deviation = proof.limits.find((limit) => limit.name === "deviation");
  const told = await page.locator("li[data-limit=deviation]").first().textContent();
  // Number and unit hang together by a space that does not break.
  const measured = Number(/held, ([\d.]+)\smm/.exec(told)[1]);
  assert.ok(Math.abs(measured - deviation.measured) < 1e-3 * deviation.measured, told);
  await page.waitForFunction((n) => document.querySelector("[data-test=picture]").dataset.part === n, String(proof.part.triangles));
  await pictured(page, "part");
  // A limit's worst place is where the proof has it.
  await page.locator("li[data-limit=wall_min] > button").first().click();
  const wall = proof.limits.find((limit) => limit.name === "wall_min" && limit.where);
  await looksAt(page, wall.where);
  await pictured(page, "proof");
  // A station of the strip, in its numbers.
  await page.getByLabel("station", { exact: true }).fill("0");
  const first = proof.ends.find((end) => end.stations.length > 1).stations[0];
  const area = Number(/before ([\d.]+)/.exec(await page.getByTestId("station").textContent())[1]);
  assert.ok(Math.abs(area - first.area_scan) < 1e-3 * first.area_scan);
  assert.match(await page.getByTestId("caution").textContent(), /geometry only/);
  const download = page.waitForEvent("download");
  await page.getByRole("link", { name: "part.stl" }).click();
  const part = await readFile(await (await download).path());
  const hash = createHash("sha256").update(part).digest("hex");
  assert.equal(hash, proof.outputs.find((file) => file.file === "part.stl").sha256);
  await writeFile(join(cwd, "downloaded.stl"), part);
  const proved = await spile("prove", join(out, "case.toml"), "--part", join(cwd, "downloaded.stl"));
  assert.equal(proved.code, 0, proved.stdout);
  assert.deepEqual(faults, []);
});

test("a real scan, from dropping it to a part that the command line proves", async (t) => {
  const scan = "vhm-trachea-jagged-derived.stl";
  const path = new URL(`../../../../tests/scans/anatomy/${scan}`, import.meta.url).pathname;
  const cwd = await folder(t);
  const faults = [];
  const { address } = await opened(t, cwd);
  const page = await shown(t, chrome, address, faults);
  await dropped(page, path, scan);
  await page.getByTestId("size").waitFor();
  const begun = await until(address, (now) => now.case !== null);
  const high = (end) => (end.rim ?? end.cut.from ?? end.cut.through)[1];
  const ends = begun.case.values.end;
  // The upper end, and of the lower ones below the branch the one that is to be cut above it.
  for (let k = ends.length - 1; k >= 2; k--) {
    await page.getByRole("group", { name: `end ${ends[k].name}` }).getByRole("button", { name: "Leave this end out" }).click();
    await until(address, (now) => now.case.values.end.length === k);
  }
  const upper = high(ends[0]) > high(ends[1]) ? 0 : 1;
  const [name, other] = [ends[upper].name, ends[1 - upper].name];
  if (upper !== 0) {
    await page.getByLabel(`${name}: fitting`, { exact: true }).selectOption("tube");
    await page.getByLabel(`${other}: fitting`, { exact: true }).selectOption("none");
  }
  // The numbers of tests/real/trachea-cut.toml, typed in.
  const cuts = {
    [name]: [["-0.8", "632.5", "37.1"], ["0", "0.93", "0.37"]],
    [other]: [["-3.7", "562.6", "1"], ["0", "-0.93", "-0.37"]],
  };
  for (const [end, [through, facing]] of Object.entries(cuts)) {
    await page.getByLabel(`${end}: where the scan ends`).selectOption("plane");
    await page.getByLabel(`${end}: facing, x`, { exact: true }).waitFor();
    for (const k of [0, 1, 2]) await typed(page, address, `${end}: point of the plane, ${"xyz"[k]}`, through[k]);
    for (const k of [0, 1, 2]) await typed(page, address, `${end}: facing, ${"xyz"[k]}`, facing[k]);
  }
  await typed(page, address, `${name}: bore of the tube, mm`, "16");
  await typed(page, address, `${name}: outside of the tube, mm`, "20");
  await typed(page, address, `${name}: length of the tube, mm`, "25");
  await typed(page, address, `${name}: reach, mm`, "12");
  await page.getByLabel(`${name}: place of the fitting`).selectOption("at");
  await page.getByLabel(`${name}: axis, x`, { exact: true }).waitFor();
  const [at, along] = [["0.7", "643.64997", "41.536009"], ["0", "0.8854333", "0.4647665"]];
  for (const k of [0, 1, 2]) await typed(page, address, `${name}: centre of the near face, ${"xyz"[k]}`, at[k]);
  for (const k of [0, 1, 2]) await typed(page, address, `${name}: axis, ${"xyz"[k]}`, along[k]);
  for (const limit of ["wall_min", "bore_loss", "kink"]) {
    const ask = page.locator(`[data-limit=${limit}]`).getByRole("button", { name: /^Ask for/ });
    if (await ask.count()) await ask.click();
  }
  await typed(page, address, "deviation, mm", "0.1");
  await typed(page, address, "wall_min, mm", "1.2");
  await typed(page, address, "bore_loss, %", "0.5");
  await typed(page, address, "kink, °", "10");
  const now = await state(address);
  assert.deepEqual(now.case.values.end[upper].cut, { through: [-0.8, 632.5, 37.1], facing: [0, 0.93, 0.37] });
  assert.deepEqual(now.case.values.end[upper].place, { at: at.map(Number), along: along.map(Number) });
  await page.reload();
  await run(page);
  const done = await until(address, isDone);
  assert.equal(done.run.is, "done", JSON.stringify(done.run));
  const out = join(cwd, done.result.folder);
  const proof = await json(out, "proof.json");
  assert.equal(proof.verdict, "held", JSON.stringify(proof.limits.filter((limit) => limit.verdict === "broken")));
  const link = page.getByRole("link", { name: "part.stl" });
  await link.waitFor();
  const download = page.waitForEvent("download");
  await link.click();
  const part = await readFile(await (await download).path());
  assert.equal(createHash("sha256").update(part).digest("hex"), proof.outputs.find((file) => file.file === "part.stl").sha256);
  await writeFile(join(cwd, "downloaded.stl"), part);
  const proved = await spile("prove", "--json", join(out, "case.toml"), "--part", join(cwd, "downloaded.stl"));
  assert.equal(proved.code, 0, proved.stdout);
  const again = JSON.parse(proved.stdout);
  for (const limit of proof.limits.filter((limit) => limit.bounds)) {
    const same = again.limits.find((one) => one.name === limit.name && one.end === limit.end);
    assert.deepEqual(same.bounds, limit.bounds, limit.name);
  }
  assert.deepEqual(faults, []);
});
