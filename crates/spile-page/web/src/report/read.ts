// The part as the report holds it, for the picture.

import type { Turnable } from "../api/turnable";
import type { Surface } from "../api/surface";
import { unpacked } from "./packed";

/** The part and a value a point for each of its maps. */
export interface Part {
  surface: Surface;
  maps: Float32Array[];
}

/** Rows of numbers, first all first ones and so on, as one row after the other. */
function woven<T extends Float32Array | Uint32Array>(planes: T[], into: T): T {
  planes.forEach((plane, k) => plane.forEach((x, i) => void (into[planes.length * i + k] = x)));
  return into;
}

/** Reads what the page holds. */
export async function readPart({ points, triangles, maps, words }: Turnable): Promise<Part> {
  const all = await unpacked(words);
  const floats = new Float32Array(all.buffer);
  if (all.length !== (3 + maps.length) * points + 4 * triangles) throw new Error("no whole part");
  const three = [0, 1, 2];
  const [corners, regions] = [3 * points, 3 * points + 3 * triangles];
  const values = regions + triangles;
  return {
    surface: {
      points: woven(three.map((k) => floats.subarray(k * points, (k + 1) * points)), new Float32Array(3 * points)),
      triangles: woven(three.map((k) => all.subarray(corners + k * triangles, corners + (k + 1) * triangles)), new Uint32Array(3 * triangles)),
      regions: Uint8Array.from(all.subarray(regions, values)),
    },
    maps: maps.map((_, k) => floats.slice(values + k * points, values + (k + 1) * points)),
  };
}
