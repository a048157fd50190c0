// What the page asks of the server. The address that the page came from, token and all,
// is where everything else is.

import { paintedKeep } from "../state/plan";
import { awaited } from "./awaited";
import type {
  Edit, ErrorDocument, FittingShown, KeepFile, LineAsked, LineShown, Named, Painted, PlaneAsked, ReachAsked, Refusal, SectionShown, State,
} from "./messages";

/** Why the server did not do what it was asked. */
export class Refused extends Error {
  constructor(readonly refusal: Refusal) {
    super(refusal.message);
  }
}

/** Asks, and reads all of what is answered. */
const asked = <T>(read: (response: Response) => Promise<T>, way: string, init?: RequestInit): Promise<T> =>
  awaited(answered(way, init).then(read));

const json = <T>(way: string, init?: RequestInit): Promise<T> =>
  asked((response) => response.json() as Promise<T>, way, init);
const numbers = (way: string, init?: RequestInit): Promise<ArrayBuffer> =>
  asked((response) => response.arrayBuffer(), way, init);
const done = (way: string, init?: RequestInit): Promise<void> => asked(async () => undefined, way, init);

async function answered(way: string, init?: RequestInit): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(way, init);
  } catch {
    const hints = ["start it again with `spile open` and use the new address"];
    throw new Refused({ message: "spile does not answer any more", hints, places: [] });
  }
  if (response.ok) return response;
  if (response.status === 422) {
    const told = (await response.json()) as ErrorDocument;
    throw new Refused(told.error);
  }
  const message = response.status === 413 ? "the file is too large" : `answered with ${response.status}`;
  throw new Refused({ message, hints: [], places: [] });
}

/** Changes go out one after the other, in the order in which they were made. */
let last: Promise<unknown> = Promise.resolve();
function inTurn<T>(ask: () => Promise<T>): Promise<T> {
  const next = last.then(ask, ask);
  last = next.catch(() => undefined);
  return awaited(next);
}

/** A browser that leaves the page sends on what is shorter than this. */
const SHORT = 30_000;
const posted = (body?: unknown): RequestInit => {
  const text = body === undefined ? null : JSON.stringify(body);
  return { method: "POST", body: text, keepalive: (text ?? "").length < SHORT };
};
const post = (way: string, body?: unknown): Promise<void> => done(way, posted(body));

/** All that the page shows. */
export const state = () => json<State>("api/state");

export const open = (file: string) => inTurn(() => post("api/open", { file }));
export const edit = (what: string, edits: Edit[]) => inTurn(() => post("api/edit", { what, edits }));
export const setText = (text: string) =>
  inTurn(() => done("api/case", { method: "PUT", body: JSON.stringify({ text }) }));
export const undo = () => inTurn(() => post("api/undo"));
export const redo = () => inTurn(() => post("api/redo"));
export const save = () => inTurn(() => post("api/save"));
export const run = () => inTurn(() => post("api/run"));
/** In no turn: it works at once. */
export const stop = () => post("api/stop");
export const end = () => post("api/end");

/** The scan's loops in a plane, the nearest to its point first. */
export const section = (plane: PlaneAsked) => json<SectionShown>("api/section", posted(plane));

/** The line along the middle of the scan's bore. */
export const line = (wished: LineAsked) => json<LineShown>("api/line", posted(wished));

/** The scan's triangles within reach of an end. */
export const reach = async (wished: ReachAsked) => new Uint32Array(await numbers("api/reach", posted(wished)));

/** The fittings that are known. */
export const fittings = () => json<FittingShown[]>("api/fittings");

/** Keeps painted triangles, in the keep that is painted already where there is one by then. */
export const paint = (triangles: number[]) =>
  inTurn(async () => {
    const keep = paintedKeep((await state()).case?.values)?.k ?? null;
    return post("api/paint", { keep, triangles } satisfies Painted);
  });

/** The triangles that a painted keep names. */
export const keep = async (k: number) => (await json<KeepFile>(`api/keep/${k}`)).triangles;

/** Mends the scan. */
export const mend = () => inTurn(() => post("api/mend"));

/** The outlines of a finding: pairs of points. */
export const outline = async (k: number) => new Float32Array(await numbers(`api/scan/finding/${k}`));

/** A value for each point of the part. */
export const map = async (which: "deviation" | "wall") => new Float32Array(await numbers(`api/part/map/${which}`));

/** Hands a fitting's file over; gives the name under which it was written. */
export const takeFitting = async (file: File) =>
  (await json<Named>(`api/fitting/${encodeURIComponent(file.name)}`, { method: "PUT", body: file })).file;

/** Hands a scan or case over; it is written to the folder under a free name. */
export const take = (file: File) =>
  inTurn(() => done(`api/file/${encodeURIComponent(file.name)}`, { method: "PUT", body: file }));

/** A surface as flat arrays, `scan` or `part`. */
export const surface = (which: "scan" | "part") => numbers(`api/${which}/surface`);

/** Where a file of the result is to be had. */
export const output = (name: string): string =>
  `out/${name.split("/").map(encodeURIComponent).join("/")}`;

/** Calls back at once and whenever the state has changed; `lost` when the server is gone. */
export function onChange(changed: () => void, lost: (isLost: boolean) => void): () => void {
  const events = new EventSource("api/events");
  events.onmessage = () => {
    lost(false);
    changed();
  };
  events.onerror = () => lost(true);
  return () => events.close();
}
