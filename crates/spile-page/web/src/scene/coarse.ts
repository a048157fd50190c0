// A large surface, simplified for a first picture: points that share a cell of a grid are
// one, and triangles that have no area then are left out.

import type { Surface } from "../api/surface";

/** Of fewer triangles the whole is drawn as soon. */
const MANY = 200_000;

/** Whether a surface is simplified for its first picture. */
export const isLarge = ({ triangles }: Pick<Surface, "triangles">): boolean => triangles.length >= 3 * MANY;

/** Cells along the longest side. */
const CELLS = 144;

/** The simplified surface; null where the whole can be drawn at once. */
export function coarse({ points, triangles, regions }: Surface): Surface | null {
  if (!isLarge({ triangles })) return null;
  const [least, most] = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]];
  for (let k = 0; k < 3; k++) {
    let [low, high] = [Infinity, -Infinity];
    for (let i = k; i < points.length; i += 3) {
      const x = points[i]!;
      if (x < low) low = x;
      if (x > high) high = x;
    }
    [least[k], most[k]] = [low, high];
  }
  const [left, front, below] = least as [number, number, number];
  const cell = Math.max(...most.map((x, k) => x - least[k]!)) / CELLS || 1;
  const [nx, ny, nz] = most.map((x, k) => Math.floor((x - least[k]!) / cell) + 1) as [number, number, number];
  // The number of each cell's point, from 1 on.
  const cells = new Uint32Array(nx * ny * nz);
  const of = new Uint32Array(points.length / 3);
  const sums = new Float64Array(points.length);
  const counts = new Uint32Array(of.length);
  let made = 0;
  for (let v = 0; v < of.length; v++) {
    const [x, y, z] = [points[3 * v]!, points[3 * v + 1]!, points[3 * v + 2]!];
    const at = Math.floor((x - left) / cell) + nx * (Math.floor((y - front) / cell) + ny * Math.floor((z - below) / cell));
    if (cells[at] === 0) cells[at] = ++made;
    const k = cells[at]! - 1;
    of[v] = k;
    counts[k]! += 1, sums[3 * k]! += x, sums[3 * k + 1]! += y, sums[3 * k + 2]! += z;
  }
  const kept = new Uint32Array(triangles.length);
  const own = regions && new Uint8Array(regions.length);
  let count = 0;
  for (let t = 0; t < triangles.length; t += 3) {
    const a = of[triangles[t]!]!, b = of[triangles[t + 1]!]!, c = of[triangles[t + 2]!]!;
    if (a === b || b === c || c === a) continue;
    kept[3 * count] = a, kept[3 * count + 1] = b, kept[3 * count + 2] = c;
    if (own) own[count] = regions![t / 3]!;
    count++;
  }
  const means = new Float32Array(3 * made);
  for (let i = 0; i < means.length; i++) means[i] = sums[i]! / counts[Math.floor(i / 3)]!;
  return { points: means, triangles: kept.slice(0, 3 * count), regions: own && own.slice(0, count) };
}

/** Does something once all is done that was asked of the graphics so far. */
export function whenFinished(gl: WebGL2RenderingContext, then: () => void): void {
  const fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
  gl.flush();
  const look = () => {
    // Without a fence nothing is known of when it is: then now.
    if (fence && !gl.isContextLost() && gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED) setTimeout(look, 10);
    else then();
  };
  look();
}
