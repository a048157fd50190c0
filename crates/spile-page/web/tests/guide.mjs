// Draws the guide's pictures of the page: `cargo xtask picture --page`. A whole case on the
// invented demo, and beside it what a duct shows that is broken, or asks for too much.

import { mkdir, writeFile } from "node:fs/promises";
import { join } from "node:path";

import { browser, dropped, folder, level, made, opened, shown, spile, typed, until } from "./bench.mjs";
import { CASE, duct } from "./duct.mjs";

const SCAN = "phantom-invented.stl";
const pictures = process.argv[2];
const ended = [];
const t = { after: (end) => ended.push(end) };

/** Puts a heading at the top of the column and draws the window. */
async function drawn(page, name, heading) {
  if (heading) await page.getByRole("heading", { name: heading, exact: true }).evaluate((h) => h.scrollIntoView({ block: "start" }));
  await page.mouse.move(2, 2);
  await level(page, page.url());
  await page.screenshot({ path: join(pictures, `${name}.png`) });
  console.log(`${name}.png drawn`);
}

const button = (page, name) => page.getByRole("button", { name });

/** The demo, from an empty page to its files. */
async function demo(chrome) {
  const from = await folder(t);
  await spile("demo", "--out", from);
  const cwd = join(await folder(t), "phantom");
  await mkdir(cwd);
  const { address } = await opened(t, cwd);
  const page = await shown(t, chrome, address);
  await drawn(page, "empty");
  await dropped(page, join(from, SCAN), SCAN);
  await page.getByTestId("size").waitFor();
  await until(address, (now) => now.case !== null);
  await drawn(page, "scan");

  // The demo's own job: a cut where its first rim is, a tube beyond it.
  const { ends } = (await until(address, (now) => now.scan.examined)).scan.examined;
  const upper = ends.findIndex((end) => end.centre[2] > 50);
  const name = `end-${upper + 1}`;
  if (upper !== 0) {
    await page.getByLabel(`${name}: fitting`).selectOption("tube");
    await page.getByLabel("end-1: fitting").selectOption("none");
  }
  await page.getByLabel(`${name}: where the scan ends`).selectOption("plane");
  const points = { "point of the plane": ["5.66", "4.405", "89.278"], facing: ["0.3349", "0.1489", "0.9304"] };
  for (const [label, values] of Object.entries(points)) {
    for (const k of [0, 1, 2]) await typed(page, address, `${name}: ${label}, ${"xyz"[k]}`, values[k]);
  }
  const numbers = { "bore of the tube": "16", "outside of the tube": "20", "length of the tube": "25", reach: "12", gap: "14" };
  for (const [label, value] of Object.entries(numbers)) await typed(page, address, `${name}: ${label}, mm`, value);
  await button(page, `Square to the bore at ${name}`).click();
  await drawn(page, "ends", "Ends");

  for (const limit of ["wall_min", "bore_loss", "kink"]) {
    await page.locator(`[data-limit=${limit}]`).getByRole("button", { name: /^Ask for/ }).click();
  }
  await typed(page, address, "deviation, mm", "-0.1");
  await page.getByRole("alert").first().waitFor();
  await drawn(page, "limits", "Limits");
  await button(page, /^Undo/).first().click();
  await typed(page, address, "wall_min, mm", "1.5");

  await button(page, "All of it").click();
  await level(page, address);
  await button(page, "Paint").click();
  const box = await page.getByTestId("picture").boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x - 6, y + 90);
  await page.mouse.down();
  await page.mouse.move(x + 12, y + 60, { steps: 12 });
  await page.mouse.up();
  await until(address, (now) => now.case.values.keep?.length === 1);
  await drawn(page, "keeps", "Keeps");
  await button(page, "Stop painting").click();

  await button(page, "Make the part").click();
  await until(address, (now) => now.run.is === "running" && now.run.steps.length > 3);
  await drawn(page, "making", "Part");
  await until(address, (now) => now.run.is === "done" && now.result?.has_maps);
  await button(page, `Square to the bore at ${name}`).click();
  await drawn(page, "part", "Part");
  await page.getByLabel("what the part is coloured by").selectOption("deviation");
  await drawn(page, "deviation", "Part");
  await page.getByLabel("what the part is coloured by").selectOption("wall");
  await page.getByLabel("with the triangles' edges").check();
  await page.getByLabel("station", { exact: true }).fill("6");
  await page.getByLabel("where the picture is cut open").selectOption("station");
  await button(page, `From the fitting at ${name}`).click();
  await drawn(page, "opened", "Part");
  await page.getByLabel("where the picture is cut open").selectOption("none");
  await page.getByLabel("with the triangles' edges").uncheck();
  await page.getByLabel("what the part is coloured by").selectOption("none");
  await button(page, `Square to the bore at ${name}`).click();
  await level(page, address);
  const now = await page.getByTestId("picture").boundingBox();
  const [left, top] = [now.x + now.width / 2, now.y + now.height / 2];
  await page.mouse.click(left, top - 70);
  await page.getByTestId("measured").waitFor();
  await page.mouse.click(left, top + 90);
  await page.getByTestId("measured").getByText("apart").waitFor();
  await drawn(page, "measured", "Part");
  await page.locator("li[data-limit=wall_min] > button").first().click();
  await drawn(page, "proof", "Proof");
  await page.getByRole("heading", { name: /^Files, in/ }).evaluate((h) => h.scrollIntoView({ block: "start" }));
  await page.emulateMedia({ colorScheme: "dark", reducedMotion: "reduce" });
  await drawn(page, "files");
}

/** A scan with a hole and a triangle turned over. */
async function broken(chrome) {
  const cwd = await folder(t);
  const whole = duct();
  const bytes = Buffer.concat([whole.subarray(0, 84 + 50 * 7000), whole.subarray(84 + 50 * 7002)]);
  bytes.writeUInt32LE((bytes.length - 84) / 50, 80);
  const first = 84 + 50 * 3000;
  const corner = Buffer.from(bytes.subarray(first + 12, first + 24));
  bytes.copy(bytes, first + 12, first + 24, first + 36);
  corner.copy(bytes, first + 24);
  await writeFile(join(cwd, "duct.stl"), bytes);
  await writeFile(join(cwd, "duct.toml"), CASE);
  const { address } = await opened(t, cwd, "duct.toml");
  const page = await shown(t, chrome, address);
  await page.getByTestId("findings").waitFor();
  await level(page, address);
  await button(page, /× hole/).click();
  await drawn(page, "findings", "Scan");
  await button(page, "Mend the scan now").click();
  await page.getByTestId("mended").waitFor();
  await until(address, (now) => now.scan?.examined && now.scan.file === "duct-mended.stl");
  await drawn(page, "mended", "Scan");
}

/** More wall than there is room for, what would hold, and both results. */
async function conflict(chrome) {
  const cwd = await folder(t);
  await writeFile(join(cwd, "duct.stl"), duct());
  await writeFile(join(cwd, "duct.toml"), CASE.replace("wall_min = 1.2", "wall_min = 2.5"));
  const { address } = await opened(t, cwd, "duct.toml");
  const page = await shown(t, chrome, address);
  await page.getByTestId("size").waitFor();
  await made(page, address);
  const found = page.getByTestId("conflict").first();
  await found.waitFor();
  await found.getByRole("button", { name: "Look where" }).click();
  await found.evaluate((conflict) => conflict.scrollIntoView({ block: "center" }));
  await drawn(page, "conflict");
  await found.getByRole("button", { name: /^Set / }).first().click();
  await page.getByText("The case was changed since").waitFor();
  await made(page, address);
  await page.getByTestId("beside").locator("summary").click();
  await page.getByTestId("beside").evaluate((table) => table.scrollIntoView({ block: "start" }));
  await drawn(page, "beside");
}

const chrome = await browser();
ended.push(() => chrome.close());
try {
  for (const draw of [broken, conflict, demo]) await draw(chrome);
} finally {
  for (const end of ended.reverse()) await end();
}
