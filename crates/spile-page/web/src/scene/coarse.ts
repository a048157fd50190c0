// A large surface, simplified for a first picture: points that share a cell of a grid are
// one, and triangles that have no area then are left out.

import type { Surface } from "../api/surface";

/** Of fewer triangles the whole is drawn as soon. */
const MANY = 200_000;
/** Cells along the longest side. */
const CELLS = 144;

/** The simplified surface; null where the whole can be drawn at once. */
export function coarse({ points, triangles, regions }: Surface): Surface | null {
  if (triangles.length < 3 * MANY) return null;
  const [least, most] = [[Infinity, Infinity, Infinity], [-Infinity, -Infinity, -Infinity]];
  for (let i = 0; i < points.length; i++) {
    const k = i % 3;
    if (points[i]! < least[k]!) least[k] = points[i]!;
    if (points[i]! > most[k]!) most[k] = points[i]!;
  }
  const cell = Math.max(...most.map((x, k) => x - least[k]!)) / CELLS || 1;
  const [nx, ny, nz] = most.map((x, k) => Math.floor((x - least[k]!) / cell) + 1) as [number, number, number];
  // The number of each cell's point, from 1 on.
  const cells = new Uint32Array(nx * ny * nz);
  const of = new Uint32Array(points.length / 3);
  const sums: number[] = [];
  const counts: number[] = [];
  for (let v = 0; v < of.length; v++) {
    const [x, y, z] = [points[3 * v]!, points[3 * v + 1]!, points[3 * v + 2]!];
    const at = Math.floor((x - least[0]!) / cell) + nx * (Math.floor((y - least[1]!) / cell) + ny * Math.floor((z - least[2]!) / cell));
    if (cells[at] === 0) cells[at] = counts.push(0), sums.push(0, 0, 0);
    const k = cells[at]! - 1;
    of[v] = k;
    counts[k]! += 1, sums[3 * k]! += x, sums[3 * k + 1]! += y, sums[3 * k + 2]! += z;
  }
  const kept: number[] = [];
  const own: number[] = [];
  for (let t = 0; t < triangles.length; t += 3) {
    const [a, b, c] = [of[triangles[t]!]!, of[triangles[t + 1]!]!, of[triangles[t + 2]!]!];
    if (a === b || b === c || c === a) continue;
    kept.push(a, b, c);
    if (regions) own.push(regions[t / 3]!);
  }
  return {
    points: Float32Array.from(sums, (x, i) => x / counts[Math.floor(i / 3)]!),
    triangles: Uint32Array.from(kept),
    regions: regions && Uint8Array.from(own),
  };
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
