// A folder, the spile command in it, and a browser that shows its page.

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
  t?.after(() => rm(made, { recursive: true, force: true }));
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
  t.after(() => context.close());
  // While working on the page: its files from a folder instead of those in the binary.
  if (DIST) await context.route(/page\.(js|css)$/, (route) => route.fulfill({ path: join(DIST, new URL(route.request().url()).pathname.split("/").at(-1)) }));
  const page = await context.newPage();
  page.setDefaultTimeout(120_000);
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

/** A folder with the duct and its case, and the page that shows it. */
export async function withDuct(t, chrome, text = CASE) {
  const cwd = await folder(t);
  await writeFile(join(cwd, "duct.stl"), duct());
  await writeFile(join(cwd, "duct.toml"), text);
  const faults = [];
  const { server, address } = await opened(t, cwd, "duct.toml");
  const page = await shown(t, chrome, address, faults);
  await page.getByTestId("size").waitFor();
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
  return until(address, (now) => !now.result.part || now.result.has_surface);
}

/** The server's state, as a script would ask for it. */
export const state = async (address) => (await fetch(`${address}api/state`)).json();

/** Waits until the state is as wished. */
export async function until(address, wished, seconds = 120) {
  const begun = Date.now();
  for (;;) {
    const now = await state(address);
    if (wished(now)) return now;
    if (Date.now() - begun > 1000 * seconds) throw new Error(`not in ${seconds} s: ${JSON.stringify(now.run)}`);
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
}

/** Types a number into a field and waits until the case has it. */
export async function typed(page, address, label, text) {
  const before = (await state(address)).version;
  const field = page.getByLabel(label, { exact: true });
  if (Number(await field.inputValue()) === Number(text.replace(",", "."))) return;
  await field.fill(text);
  await field.press("Enter");
  await until(address, (now) => now.version > before, 10);
}

/** Waits until the picture flies to a place. */
export const looksAt = (page, where) =>
  page.waitForFunction((where) => {
    const looked = document.querySelector("[data-test=picture]").dataset.looksAt?.split(" ").map(Number) ?? [];
    return looked.length === 3 && looked.every((x, k) => Math.abs(x - where[k]) < 1e-3);
  }, where);

/** Waits until what was to be drawn is drawn: a busy machine takes its time for a picture. */
export const still = (page) => page.evaluate(async () => {
  const { dataset } = document.querySelector("[data-test=picture]");
  const drawn = () => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)));
  for (let before = null; before !== dataset.eye; ) {
    before = dataset.eye;
    await drawn();
  }
});

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
