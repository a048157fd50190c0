// A section in its own plane, and the wall in it.

import type { LoopShown } from "../api/messages";
import type { Triple } from "./values";

type Flat = [number, number];

/** A shortest way from one loop to another. */
export interface Way2 {
  from: Flat;
  to: Flat;
  length: number;
}

/** A section as it is drawn. */
export interface Drawn {
  /** The loops in the plane, the bore first. */
  loops: Flat[][];
  /** The wall where it is least and greatest; none without two loops. */
  least: Way2 | null;
  greatest: Way2 | null;
}

/** Lays the loops round a place into the plane: those of the wall there, bore and outside. */
export function laid(loops: LoopShown[], at: Triple, facing: Triple): Drawn {
  const [u, v] = across(facing);
  const flat = (p: Triple): Flat => [0, 1].map((k) => dot([p[0] - at[0], p[1] - at[1], p[2] - at[2]], k === 0 ? u : v)) as Flat;
  const all = loops.map((loop) => loop.points.map(flat)).filter((loop) => loop.length > 2);
  const round = all.filter((loop) => holds(loop, [0, 0])).sort((a, b) => Math.abs(area(a)) - Math.abs(area(b)));
  const two = round.length > 1 ? round.slice(0, 2) : round.length > 0 ? round : all.slice(0, 2);
  const [bore, outside] = two;
  if (!bore || !outside) return { loops: two, least: null, greatest: null };
  const ways = bore.map((p) => toLoop(p, outside));
  return {
    loops: two,
    least: ways.reduce((a, b) => (b.length < a.length ? b : a)),
    greatest: ways.reduce((a, b) => (b.length > a.length ? b : a)),
  };
}

const dot = (a: Triple, b: Triple) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

/** Two unit directions square to one and to each other. */
function across([x, y, z]: Triple): [Triple, Triple] {
  const n = Math.hypot(x, y, z) || 1;
  const d: Triple = [x / n, y / n, z / n];
  const raw: Triple = Math.abs(d[2]) < 0.9 ? [-d[1], d[0], 0] : [1, 0, -d[0] / d[2]];
  const m = Math.hypot(...raw);
  const u: Triple = [raw[0] / m, raw[1] / m, raw[2] / m];
  return [u, [d[1] * u[2] - d[2] * u[1], d[2] * u[0] - d[0] * u[2], d[0] * u[1] - d[1] * u[0]]];
}

const area = (loop: Flat[]): number =>
  loop.reduce((sum, [x, y], k) => {
    const [x2, y2] = loop[(k + 1) % loop.length]!;
    return sum + 0.5 * (x * y2 - x2 * y);
  }, 0);

function holds(loop: Flat[], [x, y]: Flat): boolean {
  let isIn = false;
  loop.forEach(([x1, y1], k) => {
    const [x2, y2] = loop[(k + 1) % loop.length]!;
    if (y1 > y !== y2 > y && x < x1 + ((y - y1) * (x2 - x1)) / (y2 - y1)) isIn = !isIn;
  });
  return isIn;
}

/** The shortest way from a point to a closed loop. */
function toLoop(p: Flat, loop: Flat[]): Way2 {
  let best: Way2 = { from: p, to: p, length: Infinity };
  loop.forEach((a, k) => {
    const b = loop[(k + 1) % loop.length]!;
    const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
    const along = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy || 1);
    const t = Math.min(1, Math.max(0, along));
    const to: Flat = [a[0] + t * dx, a[1] + t * dy];
    const length = Math.hypot(p[0] - to[0], p[1] - to[1]);
    if (length < best.length) best = { from: p, to, length };
  });
  return best;
}
