// Surfaces as the server sends them; the layout is that of `geometry.rs`.

/** A triangle surface in the case's unit. */
export interface Surface {
  /** Three coordinates a point. */
  points: Float32Array;
  /** Three points a triangle. */
  triangles: Uint32Array;
  /** What each triangle belongs to, an index into REGIONS; none where it is not known. */
  regions: Uint8Array | null;
}

/** What a triangle of a part belongs to, by its number. */
export const REGIONS = ["kept", "replaced", "joint", "fitting", "end face", "made wall"] as const;

const MARK = 0x4d4c5053; // "SPLM", low byte first

/** Reads a surface; throws where the bytes are none. */
export function readSurface(bytes: ArrayBuffer): Surface {
  const head = new DataView(bytes);
  if (bytes.byteLength < 16 || head.getUint32(0, true) !== MARK) throw new Error("no surface");
  const [points, triangles] = [head.getUint32(4, true), head.getUint32(8, true)];
  const hasRegions = head.getUint32(12, true) === 1;
  const [from, to] = [16 + 12 * points, 16 + 12 * (points + triangles)];
  if (bytes.byteLength !== to + (hasRegions ? triangles : 0)) throw new Error("no whole surface");
  return {
    points: new Float32Array(bytes, 16, 3 * points),
    triangles: new Uint32Array(bytes, from, 3 * triangles),
    regions: hasRegions ? new Uint8Array(bytes, to, triangles) : null,
  };
}
