// The job in a browser, by what a person sees and presses. Numbers are held against the
// files that spile leaves and against the command line.

import assert from "node:assert/strict";
import { copyFile, readdir } from "node:fs/promises";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { browser, dropped, folder, looksAt, opened, pictured, shown, spile } from "./bench.mjs";

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
  await page.getByRole("alert").first().waitFor();
  assert.deepEqual(await readdir(cwd), [name]);
});
