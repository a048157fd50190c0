// The job in a browser, by what a person sees and presses. Numbers are held against the
// files that spile leaves and against the command line.

import assert from "node:assert/strict";
import { copyFile, readdir } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { browser, delayed, dropped, folder, level, looksAt, opened, pictured, shown, spile, state, until, withDuct } from "./bench.mjs";

let chrome;

before(async () => {
  chrome = await browser();
});
after(() => chrome?.close());

test("a broken scan is told as the command line tells it", async (t) => {
  const cwd = await folder(t);
  const broken = new URL("../../../../tests/scans/defects/", import.meta.url);
  const name = "nonmanifold-crash.obj";
  await copyFile(new URL(name, broken), join(cwd, name));
  const { address } = await opened(t, cwd, name);
  const page = await shown(t, chrome, address);
  await page.getByTestId("findings").waitFor();
  await level(page, address);
  await pictured(page, "findings");
  const examined = JSON.parse((await spile("examine", "--json", join(cwd, name))).stdout);
  assert.ok(examined.findings.length > 0);
  const buttons = page.locator("[data-test=findings] li");
  assert.equal(await buttons.count(), examined.findings.length);
  const finding = examined.findings.find((found) => found.effect !== "elsewhere");
  await page.getByRole("button", { name: new RegExp(`× ${finding.kind.replaceAll("-", " ")}`) }).first().click();
  await looksAt(page, finding.where);
  // A file that is no scan is refused where it is handed over, and not kept.
  await dropped(page, join(cwd, name), "notes.txt");
  await page.getByRole("alert").filter({ hasText: "notes.txt" }).waitFor();
  assert.deepEqual(await readdir(cwd), [name]);
});

test("nothing that is typed is lost, however late the server tells its state", async (t) => {
  const { address, page, faults } = await withDuct(t, chrome);
  await delayed(page, "**/api/state", () => 250);
  const type = async (label, text) => {
    await page.getByLabel(label, { exact: true }).fill(text);
    await page.getByLabel(label, { exact: true }).press("Enter");
  };
  // Coordinates one after the other, before the first has come back.
  const rim = ["14.1", "0.25", "38.5"];
  for (const k of [0, 1, 2]) await type(`upper: near, ${"xyz"[k]}`, rim[k]);
  // One field twice: the first answer comes while the second number is being typed.
  await type("upper: reach, mm", "7");
  const reach = page.getByLabel("upper: reach, mm", { exact: true });
  await reach.fill("6.5");
  await until(address, (now) => now.case.values.end[0].reach === 7);
  await level(page, address);
  assert.equal(await reach.inputValue(), "6.5");
  await reach.press("Enter");
  // Another window changes the very number that is being typed, and one beside it.
  const deviation = page.getByLabel("deviation, mm", { exact: true });
  await deviation.fill("0.2");
  const edits = [{ path: ["limits", "deviation"], value: 0.15 }, { path: ["limits", "kink"], value: 14 }];
  const said = await fetch(`${address}api/edit`, { method: "POST", body: JSON.stringify({ what: "elsewhere", edits }) });
  assert.equal(said.status, 204);
  await page.waitForFunction(() => document.querySelector('[aria-label="kink, \u00b0"]').value === "14");
  assert.equal(await deviation.inputValue(), "0.2");
  await deviation.press("Enter");
  const { case: { values } } = await until(address, (now) => now.case.values.limits.deviation === 0.2);
  await level(page, address);
  assert.deepEqual(values.end[0].rim, rim.map(Number));
  assert.equal(values.end[0].reach, 6.5);
  assert.equal(values.limits.kink, 14);
  // Given up with Escape: the case's own number stands there again.
  await deviation.fill("9");
  await deviation.press("Escape");
  await page.waitForFunction(() => document.querySelector('[aria-label="deviation, mm"]').value === "0.2");
  assert.equal((await state(address)).case.values.limits.deviation, 0.2);
  assert.deepEqual(faults, []);
});
