// A folder, the spile command in it, and a browser that shows its page.

import assert from "node:assert/strict";
import { execFile, spawn } from "node:child_process";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { promisify } from "node:util";

import { chromium, selectors } from "playwright-core";

import { CASE, duct } from "./duct.mjs";

selectors.setTestIdAttribute("data-test");

const SPILE = process.env.SPILE_BIN;
const PICTURES = process.env.SPILE_PICTURES;
const DIST = process.env.SPILE_PAGE_DIST;
/** To shake the tests: the browser this many times as slow, and answers late by up to so many milliseconds. */
const SLOW = Number(process.env.SPILE_PAGE_SLOW ?? 1);
const LATE = Number(process.env.SPILE_PAGE_LATE ?? 0);
/** How long anything is waited for: far longer than it takes on the slowest machine. */
export const PATIENCE = 180_000;
const started = promisify(execFile);

/** Runs spile to its end: exit code and standard output. */
export async function spile(...words) {
  try {
    const { stdout } = await started(SPILE, words, { maxBuffer: 1 << 28 });
    return { code: 0, stdout };
  } catch (error) {
    if (typeof error.code !== "number") throw error;
    return { code: error.code, stdout: error.stdout };
  }
}

/** Chromium, once for all tests; WebGL by software. */
export const browser = () =>
  chromium.launch({
    executablePath: process.env.SPILE_CHROMIUM,
    args: ["--no-sandbox", "--disable-dev-shm-usage", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"],
  });

/** A new folder, gone at the test's end. */
export async function folder(t) {
  const made = await mkdtemp(join(tmpdir(), "spile-page-"));
  // A server that is just ending may still write: then again.
  t?.after(() => rm(made, { recursive: true, force: true, maxRetries: 20 }));
  return made;
}

/** Starts `spile open` in a folder and gives its address; ended with the test. */
export async function opened(t, cwd, ...files) {
  const server = spawn(SPILE, ["open", "--no-browser", "--json", ...files], { cwd });
  t.after(() => server.kill());
  let said = "";
  const address = await new Promise((resolve, reject) => {
    server.stdout.on("data", (bytes) => {
      said += bytes;
      try {
        resolve(JSON.parse(said).address);
      } catch {
        // Not all of it is there yet.
      }
    });
    server.on("exit", (code) => reject(new Error(`spile open ended with ${code}`)));
  });
  return { server, address };
}

/** The page in a window of a small laptop; faults of its script fail the test. */
export async function shown(t, chrome, address, faults = []) {
  const context = await chrome.newContext({ viewport: { width: 1280, height: 760 }, acceptDownloads: true, reducedMotion: "reduce" });
  t.after(() => toldOf(t, context));
  t.after(() => context.close());
  // While working on the page: its files from a folder instead of those in the binary.
  if (DIST) await context.route(/page\.(js|css)$/, (route) => route.fulfill({ path: join(DIST, new URL(route.request().url()).pathname.split("/").at(-1)) }));
  if (LATE > 0) await delayed(context, "**/api/*", () => LATE * Math.random());
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE);
  await slowed(page);
  page.on("pageerror", (error) => faults.push(String(error)));
  page.on("console", (said) => said.type() === "error" && faults.push(said.text()));
  page.on("request", (request) => {
    const url = request.url();
    if (!url.startsWith(address) && !/^(data|blob):/.test(url)) faults.push(`asked elsewhere: ${url}`);
  });
  await page.goto(address);
  await page.getByRole("heading", { name: "Scan" }).waitFor();
  return page;
}

/** Of a test that failed: what its windows show, in words and as pictures. */
export async function toldOf(t, context) {
  if (t.passed !== false) return;
  for (const [k, page] of context.pages().entries()) {
    const told = await page.evaluate(() => [document.documentElement, document.querySelector("[data-test=picture], [data-test=turned]")].map((e) => ({ ...e?.dataset }))).catch(String);
    console.log(`${t.name}, window ${k + 1}: ${JSON.stringify(told)}`);
    await pictured(page, `failed-${t.name.replaceAll(/\W+/g, "-")}-${k + 1}`).catch(() => undefined);
  }
}

/** Has the browser work slowly, where the tests are to be shaken. */
export async function slowed(page) {
  if (SLOW > 1) await (await page.context().newCDPSession(page)).send("Emulation.setCPUThrottlingRate", { rate: SLOW });
}

/** Has what is asked under a way go out late by so many milliseconds. */
export const delayed = (page, way, late) =>
  page.route(way, async (route) => {
    // Events without end are none that could come late.
    if (route.request().url().endsWith("/events")) return route.continue().catch(() => undefined);
    await new Promise((resolve) => setTimeout(resolve, late()));
    // The window may be closed by then.
    await route.continue().catch(() => undefined);
  });

/** A folder with the duct and its case, and the page that shows it. */
export async function withDuct(t, chrome, text = CASE) {
  const cwd = await folder(t);
  await writeFile(join(cwd, "duct.stl"), duct());
  await writeFile(join(cwd, "duct.toml"), text);
  const faults = [];
  const { server, address } = await opened(t, cwd, "duct.toml");
  const page = await shown(t, chrome, address, faults);
  await page.getByTestId("size").waitFor();
  await level(page, address);
  return { cwd, server, address, page, faults };
}

/** Presses the button and waits for what comes of it. */
export async function made(page, address) {
  const before = (await state(address)).result?.number ?? 0;
  await page.getByRole("button", { name: "Make the part" }).click();
  await until(address, (now) => {
    if (now.run.is === "failed") throw new Error(JSON.stringify(now.run));
    return now.run.is === "done" && (now.result?.number ?? 0) > before;
  });
  const done = await until(address, (now) => !now.result.part || now.result.has_surface);
  await level(page, address);
  return done;
}

/** The server's state, as a script would ask for it. */
export const state = async (address) => (await fetch(`${address}api/state`)).json();

/** Waits until the state is as wished. */
export async function until(address, wished) {
  for (const begun = Date.now(); ; await new Promise((resolve) => setTimeout(resolve, 50))) {
    const now = await state(address);
    if (wished(now)) return now;
    if (Date.now() - begun > PATIENCE) throw new Error(`the state never was as wished: ${wished}; ${JSON.stringify({ ...now, files: [] })}`);
  }
}

/**
 * Waits until the page shows all that the server has: its state is the server's, nothing that
 * it asked for is on its way, and what follows from it is drawn. What is read then is final.
 */
export async function level(page, address) {
  const { version } = await state(address);
  await page.evaluate(async ([version, PATIENCE]) => {
    const { dataset } = document.documentElement;
    const scene = () => document.querySelector("[data-test=picture]")?.scene;
    const begun = Date.now();
    // What follows from a change comes after a frame, and may ask or draw once more.
    for (let calm = 0; calm < 3; ) {
      await new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve)));
      const isCalm = Number(dataset.version) >= version && dataset.waiting === "0" && !scene()?.isDue && !scene()?.flight;
      calm = isCalm ? calm + 1 : 0;
      if (Date.now() - begun > PATIENCE) throw new Error(`the page never came to rest: ${JSON.stringify({ ...dataset })}, the server is at ${version}`);
    }
  }, [version, PATIENCE]);
}

/** Types a number into a field and waits until the case has it. */
export async function typed(page, address, label, text) {
  const wished = Number(text.replace(",", "."));
  const field = page.getByLabel(label, { exact: true });
  await field.waitFor();
  await level(page, address);
  if (Number(await field.inputValue()) === wished) return;
  await field.fill(text);
  await field.press("Enter");
  await level(page, address);
  assert.equal(Number(await field.inputValue()), wished, label);
}

/** Presses a button and waits for what comes of it. */
export async function pressed(page, address, name) {
  await page.getByRole("button", { name, exact: typeof name === "string" }).click();
  await level(page, address);
}

/** Waits until the picture flies to a place. */
export const looksAt = (page, where) =>
  page.waitForFunction((where) => {
    const looked = document.querySelector("[data-test=picture]").dataset.looksAt?.split(" ").map(Number) ?? [];
    return looked.length === 3 && looked.every((x, k) => Math.abs(x - where[k]) < 1e-3);
  }, where);

/** Drops a file on the page. */
export async function dropped(page, path, name) {
  const text = (await readFile(path)).toString("base64");
  const data = await page.evaluateHandle(([text, name]) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const data = new DataTransfer();
    data.items.add(new File([bytes], name));
    return data;
  }, [text, name]);
  await page.dispatchEvent("main", "drop", { dataTransfer: data });
}

/** Draws the page into the folder of pictures, if one is named. */
export async function pictured(page, name) {
  if (PICTURES) await page.screenshot({ path: join(PICTURES, `${name}.png`) });
}
