// What a case plans at its ends, as far as its values say: where cuts and fittings are.

import type { FittingShown, LineShown, State } from "../api/messages";
import { at, listAt, numberAt, textAt, tripleAt, type Triple, type Way } from "./values";

/** A fitting as the picture shows it before it is made. */
export interface Tube {
  at: Triple;
  along: Triple;
  bore: number;
  outside: number;
  length: number;
}

/** A point this far along a direction, which need not be of length 1. */
export const moved = (p: Triple, along: Triple, by: number): Triple => {
  const length = Math.hypot(...along) || 1;
  return p.map((x, i) => x + (by * along[i as 0]) / length) as Triple;
};

export const apart = (a: Triple, b: Triple): number => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);

/** Coordinates to a ten-thousandth of a millimetre's like: no longer than a person reads. */
export const rounded = (p: Triple): Triple => p.map((x) => Number(x.toFixed(4))) as Triple;

/** The way to a value of an end. */
export const endWay = (k: number, ...more: Way): Way => ["end", k, ...more];

/** Where an end of the case is, as far as its values say. */
export function siteOf(values: unknown, k: number): Triple | undefined {
  return tripleAt(values, endWay(k, "cut", "through")) ?? tripleAt(values, endWay(k, "cut", "from")) ?? tripleAt(values, endWay(k, "rim"));
}

/** The rim that was found nearest an end of the case. */
export function nearEnd(state: State, k: number) {
  const site = siteOf(state.case?.values, k);
  if (!site) return undefined;
  return [...(state.scan?.examined?.ends ?? [])].sort((a, b) => apart(a.centre, site) - apart(b.centre, site))[0];
}

export const nameOf = (values: unknown, k: number): string => textAt(values, endWay(k, "name")) ?? "";

/** The place at a length along a line; none without a line. */
export function onLine(line: LineShown | null, along: number): { at: Triple; along: Triple } | null {
  const points = line?.points ?? [];
  const next = points.findIndex((point) => point.along >= along);
  const [a, b] = [points[Math.max(0, (next < 0 ? points.length : next) - 1)], points[next < 0 ? points.length - 1 : next]];
  if (!a || !b) return null;
  const t = b.along > a.along ? Math.min(1, Math.max(0, (along - a.along) / (b.along - a.along))) : 0;
  const mixed = (p: Triple, q: Triple) => p.map((x, i) => x + t * (q[i as 0] - x)) as Triple;
  return { at: mixed(a.at, b.at), along: mixed(a.facing, b.facing) };
}

/** The length along a line at which it comes nearest a place. */
export function alongOf(line: LineShown | null, p: Triple): number {
  const nearest = line?.points.reduce<{ along: number; far: number }>((best, point) => {
    const far = apart(point.at, p);
    return far < best.far ? { along: point.along, far } : best;
  }, { along: 0, far: Infinity });
  return nearest?.along ?? 0;
}

/** The plane in which an end is cut; none where it ends at its rim, or is not known. */
export function cutOf(state: State, k: number, line: LineShown | null): { at: Triple; along: Triple } | null {
  const values = state.case?.values;
  const through = tripleAt(values, endWay(k, "cut", "through"));
  const facing = tripleAt(values, endWay(k, "cut", "facing"));
  if (through && facing) return { at: through, along: facing };
  const along = numberAt(values, endWay(k, "cut", "along"));
  return along === undefined ? null : onLine(line, along);
}

/** The way off the scan at an end. */
export function facingOf(state: State, k: number): Triple | undefined {
  return tripleAt(state.case?.values, endWay(k, "cut", "facing")) ?? nearEnd(state, k)?.direction;
}

/** The fitting that a case asks for, where its place is known without making it. */
export function tubeOf(state: State, k: number, known: FittingShown[], line: LineShown | null): Tube | null {
  const values = state.case?.values;
  const size = sizeOf(state, k, known);
  if (!size) return null;
  const gap = numberAt(values, endWay(k, "place", "gap"));
  const cut = cutOf(state, k, line);
  const site = cut?.at ?? siteOf(values, k);
  const facing = cut?.along ?? facingOf(state, k);
  const at = tripleAt(values, endWay(k, "place", "at")) ?? (gap !== undefined && site && facing ? moved(site, facing, gap) : undefined);
  const along = tripleAt(values, endWay(k, "place", "along")) ?? facing;
  return at && along ? { at, along, ...size } : null;
}

/** The sizes of an end's fitting, of a standard one in its basic plane. */
function sizeOf(state: State, k: number, known: FittingShown[]): { bore: number; outside: number; length: number } | null {
  const values = state.case?.values;
  const [bore, outside, length] = ["bore", "outside", "length"].map((key) => numberAt(values, endWay(k, "fitting", key)));
  const kind = textAt(values, endWay(k, "fitting", "kind"));
  const size = known.find((one) => one.kind === kind)?.sizes.find((one) => one.size === textAt(values, endWay(k, "fitting", "size")));
  const scale = { mm: 1, cm: 10, m: 1000, in: 25.4 }[textAt(values, ["unit"]) ?? "mm"] ?? 1;
  const basic = size && size.basic_diameter_mm / scale;
  const full = {
    bore: bore ?? (kind === "socket" ? basic : undefined),
    outside: outside ?? (kind === "cone" ? basic : undefined),
    length: length ?? (size && size.taper_length_mm / scale),
  };
  return full.bore && full.outside && full.length ? { bore: full.bore, outside: full.outside, length: full.length } : null;
}

/** The keep that is painted: the first that names a file. */
export function paintedKeep(values: unknown): { k: number; file: string } | null {
  const k = listAt(values, ["keep"]).findIndex((keep) => typeof at(keep, ["file"]) === "string");
  return k < 0 ? null : { k, file: textAt(values, ["keep", k, "file"])! };
}
