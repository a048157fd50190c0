// The case's values as the file has them, by the way that leads to them.

import type { State } from "../api/messages";

/** Keys, and numbers of places in lists. */
export type Way = (string | number)[];
/** A point or direction. */
export type Triple = [number, number, number];

/** The value at `way`; undefined where there is none. */
export function at(values: unknown, way: Way): unknown {
  let here: unknown = values;
  for (const step of way) {
    if (typeof here !== "object" || here === null) return undefined;
    here = (here as Record<string | number, unknown>)[step];
  }
  return here;
}

export function numberAt(values: unknown, way: Way): number | undefined {
  const found = at(values, way);
  return typeof found === "number" ? found : undefined;
}

export function textAt(values: unknown, way: Way): string | undefined {
  const found = at(values, way);
  return typeof found === "string" ? found : undefined;
}

export function listAt(values: unknown, way: Way): unknown[] {
  const found = at(values, way);
  return Array.isArray(found) ? found : [];
}

export function tripleAt(values: unknown, way: Way): Triple | undefined {
  const found = listAt(values, way);
  return found.length === 3 && found.every((x) => typeof x === "number") ? (found as Triple) : undefined;
}

/** The unit's symbol. */
export const unitOf = (state: State): string => textAt(state.case?.values, ["unit"]) ?? "mm";

/** Millimetres in the case's unit. */
export function inUnit(state: State, millimetres: number): number {
  const size: Record<string, number> = { mm: 1, cm: 10, m: 1000, in: 25.4 };
  return tidy(millimetres / (size[unitOf(state)] ?? 1));
}

/** Three digits: enough to begin with. */
export const tidy = (x: number): number => Number(x.toPrecision(3));

/** The way that a suggestion's key leads, at the end that it is about. */
export function wayOfKey(state: State, key: string, end: string | null): Way {
  const [first = "", ...rest] = key.split(".");
  if (first === "end") {
    const names = listAt(state.case?.values, ["end"]).map((_, k) => textAt(state.case?.values, ["end", k, "name"]));
    return ["end", Math.max(0, names.indexOf(end ?? "")), ...rest];
  }
  return first === "clear" ? ["clear", 0, ...rest] : [first, ...rest];
}

/** What a change of a value is, so that undoing can name it. */
export const told = (way: Way): string =>
  way.map((step) => (typeof step === "number" ? String(step + 1) : step)).join(" ");

/** The table of the case that a line of its text stands in: `scan`, `end 0`, `limits`. */
export function tableOfLine(text: string, line: number): string {
  const counts: Record<string, number> = {};
  let table = "";
  for (const row of text.split("\n").slice(0, line)) {
    const head = /^\s*(\[\[?)\s*([A-Za-z_.]+)/.exec(row);
    if (!head?.[2]) continue;
    const name = head[2].split(".")[0] ?? "";
    if (head[1] === "[[") counts[name] = (counts[name] ?? -1) + 1;
    table = name in counts ? `${name} ${counts[name]}` : name;
  }
  return table;
}

/** The key that a line of the case file gives a value to; the line itself where it gives none. */
export function keyOfLine(text: string, line: number): string {
  const row = (text.split("\n")[line - 1] ?? "").trim();
  return /^([A-Za-z_.]+)\s*=/.exec(row)?.[1] ?? row;
}
