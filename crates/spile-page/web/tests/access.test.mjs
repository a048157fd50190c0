// Whether people who see little, hear a screen read out or use the keyboard alone can do the
// job: axe-core's rules for WCAG 2.2 A and AA, by day and by night, in each state of the
// page; the order of the keyboard; and the scale of colours.

import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFile } from "node:fs/promises";
import { after, before, test } from "node:test";

import { browser, folder, level, made, opened, pictured, shown, until, withDuct } from "./bench.mjs";
import { CASE } from "./duct.mjs";

const AXE = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
let chrome;
/** The colours of the scale, once it was seen. */
let fills = null;

before(async () => {
  chrome = await browser();
});
after(() => chrome?.close());

/** What axe finds wrong, by day and by night. */
async function wrong(page) {
  const found = [];
  for (const colorScheme of ["light", "dark"]) {
    await page.emulateMedia({ colorScheme, reducedMotion: "reduce" });
    // As the debugger puts it in, the page's own policy against scripts holds on.
    await page.evaluate(AXE);
    const { violations, passes } = await page.evaluate((tags) => globalThis.axe.run(document, { runOnly: tags }), TAGS);
    assert.ok(passes.length > 5);
    for (const { id, nodes } of violations) {
      found.push(...nodes.map((node) => `${colorScheme}: ${id} at ${node.target}: ${node.failureSummary}`));
    }
  }
  await page.emulateMedia({ colorScheme: "light" });
  return found;
}

/** The scale as it is drawn, from least to most. */
async function fillsOf(page) {
  await page.getByTestId("scale").locator("rect.step").first().waitFor();
  return page.getByTestId("scale").locator("rect.step").evaluateAll((all) => all.map((rect) => rect.getAttribute("fill")));
}

test("axe finds nothing wrong in any state, by day and by night", async (t) => {
  const empty = await opened(t, await folder(t));
  const first = await shown(t, chrome, empty.address);
  await level(first, empty.address);
  assert.deepEqual(await wrong(first), []);
  const { address, page } = await withDuct(t, chrome, CASE.replace("wall_min = 1.2", "wall_min = 2.5"));
  assert.deepEqual(await wrong(page), []);
  // With a mistake told, and all that folds open.
  await page.getByLabel("upper: reach, mm", { exact: true }).fill("far");
  await page.getByLabel("upper: reach, mm", { exact: true }).press("Enter");
  await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
  assert.deepEqual(await wrong(page), []);
  await page.getByLabel("upper: reach, mm", { exact: true }).press("Escape");
  await made(page, address);
  await page.getByTestId("conflict").first().waitFor();
  await until(address, (now) => now.result?.has_maps);
  await page.getByLabel("what the part is coloured by").selectOption("wall");
  fills = await fillsOf(page);
  await level(page, address);
  await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
  assert.deepEqual(await wrong(page), []);
  await page.emulateMedia({ colorScheme: "dark" });
  await pictured(page, "dark");
});

test("the keyboard goes through the job in its order and is never caught", async (t) => {
  const { page } = await withDuct(t, chrome);
  const heads = [];
  const seen = new Set();
  await page.evaluate(() => document.activeElement?.blur());
  for (let k = 0; k < 400; k++) {
    await page.keyboard.press("Tab");
    const now = await page.evaluate(() => {
      const here = document.activeElement;
      if (!here || here === document.body) return null;
      here.dataset.seen ??= String(Math.random());
      const head = here.closest("section")?.getAttribute("aria-labelledby") ?? (here.closest(".picture") ? "picture" : here.closest(".strip") ? "strip" : "head");
      return { id: here.dataset.seen, head, named: Boolean(here.getAttribute("aria-label") || here.labels?.length || here.textContent.trim() || here.closest("label")) };
    });
    if (!now || seen.has(now.id)) break;
    seen.add(now.id);
    assert.ok(now.named, JSON.stringify(now));
    if (heads.at(-1) !== now.head) heads.push(now.head);
  }
  assert.deepEqual(heads, ["head", "head-scan", "head-ends", "head-limits", "head-keeps", "head-part", "head-proof", "head-text", "picture"]);
  // A word's meaning is there when it is reached.
  const word = page.locator("dfn").first();
  await word.focus();
  const told = await word.evaluate((dfn) => getComputedStyle(dfn, "::after").content);
  assert.ok(told.length > 10, told);
});

test("the scale of colours is even, and clear to every kind of colour vision", async (t) => {
  if (!fills) {
    // Alone: there was no part yet.
    const { address, page } = await withDuct(t, chrome);
    await made(page, address);
    await page.getByLabel("what the part is coloured by").selectOption("wall");
    fills = await fillsOf(page);
  }
  const SCALE = fills.map((fill) => fill.match(/\d+/g).map((x) => Number(x) / 255));
  assert.equal(SCALE.length, 64);
  const linear = (x) => (x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
  // CIE 1976 L*a*b*, white D65 (IEC 61966-2-1, from memory).
  const lab = ([r, g, b]) => {
    const xyz = [
      (0.4124564 * r + 0.3575761 * g + 0.1804375 * b) / 0.95047,
      0.2126729 * r + 0.7151522 * g + 0.072175 * b,
      (0.0193339 * r + 0.119192 * g + 0.9503041 * b) / 1.08883,
    ].map((v) => (v > 216 / 24389 ? Math.cbrt(v) : (841 / 108) * v + 4 / 29));
    return [116 * xyz[1] - 16, 500 * (xyz[0] - xyz[1]), 200 * (xyz[1] - xyz[2])];
  };
  const light = SCALE.map((colour) => lab(colour.map(linear))[0]);
  // Lightness rises all the way, by nearly equal steps: that is seen by everyone.
  const steps = Array.from({ length: 15 }, (_, k) => light[4 * k + 4] - light[4 * k]);
  assert.ok(steps.every((step) => step > 2.5 && step < 6.5), `${steps}`);
  assert.ok(light.at(-1) - light[0] > 60);
  // As a person without the red or the green cones sees it (Viénot, Brettel and Mollon 1999,
  // from memory): neighbours stay as far apart as to anyone else by more than half.
  const blind = {
    red: [[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]],
    green: [[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]],
  };
  const apart = (a, b) => Math.hypot(...a.map((x, k) => x - b[k]));
  for (const [kind, rows] of Object.entries(blind)) {
    const seenAs = SCALE.map((colour) => {
      const own = colour.map(linear);
      return lab(rows.map((row) => Math.max(0, row.reduce((sum, x, k) => sum + x * own[k], 0))));
    });
    for (let k = 0; k + 4 < SCALE.length; k += 4) {
      const [own, theirs] = [apart(lab(SCALE[k].map(linear)), lab(SCALE[k + 4].map(linear))), apart(seenAs[k], seenAs[k + 4])];
      assert.ok(theirs > 0.5 * own, `${kind} at ${k}: ${theirs} of ${own}`);
    }
  }
});
