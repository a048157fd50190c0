// What the colours of a map span, and its limit.

import type { ResultShown } from "../api/messages";
import type { MapName } from "./acts";
import type { Range } from "./scale";

/** Of a wall, the thickest hundredth shares the last colour: a few places have no other side near. */
const THICKEST = 0.99;

/** The span: of deviation as far to either side of 0, of the wall from 0 on. */
export function rangeOf(which: MapName, map: Float32Array, result: ResultShown | null): Range {
  const values = map.filter((x) => !Number.isNaN(x)).sort();
  if (which === "wall") return { from: 0, to: values[Math.floor(THICKEST * (values.length - 1))] ?? 1 };
  const most = Math.max(limitOf(which, result) ?? 0, Math.abs(values[0] ?? 0), Math.abs(values.at(-1) ?? 0)) || 1;
  return { from: -most, to: most };
}

/** What was asked. */
export function limitOf(which: MapName, result: ResultShown | null): number | null {
  const name = which === "wall" ? "wall_min" : "deviation";
  return result?.limits.find((limit) => limit.name === name && limit.asked !== null)?.asked ?? null;
}
