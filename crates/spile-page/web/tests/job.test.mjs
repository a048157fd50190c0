// The job in a browser, by what a person sees and presses. Numbers are held against the
// files that spile leaves and against the command line.

import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { copyFile, readdir, readFile, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { browser, dropped, folder, looksAt, opened, pictured, shown, spile, state, typed, until } from "./bench.mjs";

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
  assert.match(await page.getByTestId("verdict").textContent(), /All limits that are asked are held/);
  const rows = await page.locator("ul.limits > li").count();
  assert.equal(rows, proof.limits.length);
  const deviation = proof.limits.find((limit) => limit.name === "deviation");
  const told = await page.locator("li[data-limit=deviation]").first().textContent();
  const measured = Number(/held, ([\d.]+) mm/.exec(told)[1]);
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

test("undo and redo, two windows, and a stop that works at once", async (t) => {
  const cwd = await folder(t);
  await copyFile(join(demo, SCAN), join(cwd, SCAN));
  await copyFile(join(demo, "phantom.toml"), join(cwd, "phantom.toml"));
  const faults = [];
  const { server, address } = await opened(t, cwd, "phantom.toml");
  const page = await shown(t, chrome, address, faults);
  const other = await shown(t, chrome, address, faults);
  const field = page.getByLabel("upper: reach, mm", { exact: true });
  const theirs = other.getByLabel("upper: reach, mm", { exact: true });
  await typed(page, address, "upper: reach, mm", "11");
  await typed(page, address, "upper: reach, mm", "10.5");
  const shows = (where, value) =>
    where.evaluate((input, value) => new Promise((resolve) => {
      const look = () => (input.value === value ? resolve(true) : setTimeout(look, 20));
      look();
    }), value);
  await shows(theirs, "10.5");
  await other.getByRole("button", { name: /^Undo/ }).click();
  await shows(field, "11");
  await page.getByRole("button", { name: /^Undo/ }).click();
  await shows(theirs, "12");
  assert.equal(await readFile(join(cwd, "phantom.toml"), "utf8"), (await state(address)).case.text);
  await page.getByRole("button", { name: /^Redo/ }).click();
  await shows(theirs, "11");
  // What is no number is told and changes nothing; what the reader refuses is told too.
  await field.fill("far");
  await field.press("Enter");
  await page.getByText("this is no number").waitFor();
  assert.equal((await state(address)).case.values.end[0].reach, 11);
  await typed(page, address, "upper: reach, mm", "-3");
  await page.getByRole("alert").first().waitFor();
  assert.ok(await page.getByRole("button", { name: "Make the part" }).isDisabled());
  await pictured(page, "mistake");
  await page.getByRole("button", { name: /^Undo/ }).click();
  await shows(theirs, "11");

  await run(page);
  await until(address, (now) => now.run.is === "running" && now.run.steps.length > 3);
  const begun = Date.now();
  await other.getByRole("button", { name: "Stop" }).click();
  await page.getByText("It was stopped").waitFor();
  assert.ok(Date.now() - begun < 2000, `${Date.now() - begun} ms`);
  await new Promise((resolve) => setTimeout(resolve, 3000));
  assert.deepEqual((await readdir(cwd)).sort(), [SCAN, "phantom.toml"].sort());
  // It ends when it is told to, and says so on the page.
  const ended = new Promise((resolve) => server.on("exit", resolve));
  await page.getByRole("button", { name: "End spile" }).click();
  assert.equal(await ended, 0);
  await page.getByText("does not answer any more").first().waitFor();
});

test("limits that fight, and the suggestion that settles it", async (t) => {
  const cwd = await folder(t);
  await copyFile(join(demo, SCAN), join(cwd, SCAN));
  const text = await readFile(join(demo, "phantom.toml"), "utf8");
  await writeFile(join(cwd, "phantom.toml"), text.replace("wall_min  = 1.5", "wall_min  = 2.5"));
  const { address } = await opened(t, cwd, "phantom.toml");
  const page = await shown(t, chrome, address);
  await run(page);
  await until(address, isDone);
  await page.getByTestId("conflict").first().waitFor();
  await pictured(page, "conflict");
  const proof = await json(cwd, "phantom-out", "proof.json");
  const conflict = proof.conflicts.find((found) => found.limits.includes("wall_min"));
  const wanted = conflict.would_hold.find((one) => one.key === "limits.wall_min") ?? conflict.would_hold[0];
  assert.ok(wanted, JSON.stringify(proof.conflicts));
  await page.getByRole("button", { name: new RegExp(`^Set ${wanted.key}`) }).first().click();
  const now = await until(address, (now) => now.case.undo !== null, 10);
  const [first, ...rest] = wanted.key.split(".");
  const table = first === "end" ? now.case.values.end.find((end) => end.name === conflict.end) : now.case.values[first];
  assert.deepEqual(rest.reduce((value, key) => value[key], table), wanted.value);
  await page.getByText("The case was changed since").waitFor();
  await run(page);
  await until(address, (now) => isDone(now) && now.result.is_of_this_text === true);
  const again = await json(cwd, "phantom-out", "proof.json");
  const row = again.limits.find((limit) => limit.name === "wall_min" && limit.asked !== null);
  assert.equal(row.verdict, "held", JSON.stringify(row));
});
