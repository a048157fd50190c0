// What the page asks of the server. The address that the page came from, token and all,
// is where everything else is.

import type { Edit, PlaneAsked, Refusal, SectionShown, State } from "./messages";

/** Why the server did not do what it was asked. */
export class Refused extends Error {
  constructor(readonly refusal: Refusal) {
    super(refusal.message);
  }
}

async function asked(way: string, init?: RequestInit): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(way, init);
  } catch {
    const hints = ["start it again with `spile open` and use the new address"];
    throw new Refused({ message: "spile does not answer any more", hints, places: [] });
  }
  if (response.ok) return response;
  if (response.status === 422) {
    const told = (await response.json()) as { error: Refusal };
    throw new Refused(told.error);
  }
  const message = response.status === 413 ? "the file is too large" : `answered with ${response.status}`;
  throw new Refused({ message, hints: [], places: [] });
}

const post = (way: string, body?: unknown): Promise<Response> =>
  asked(way, { method: "POST", body: body === undefined ? null : JSON.stringify(body) });

/** All that the page shows. */
export const state = async (): Promise<State> => (await (await asked("api/state")).json()) as State;

export const open = (file: string) => post("api/open", { file });
export const edit = (what: string, edits: Edit[]) => post("api/edit", { what, edits });
export const setText = (text: string) =>
  asked("api/case", { method: "PUT", body: JSON.stringify({ text }) });
export const undo = () => post("api/undo");
export const redo = () => post("api/redo");
export const save = () => post("api/save");
export const run = () => post("api/run");
export const stop = () => post("api/stop");
export const end = () => post("api/end");

/** The scan's loops in a plane, the nearest to its point first. */
export const section = async (plane: PlaneAsked): Promise<SectionShown> =>
  (await (await post("api/section", plane)).json()) as SectionShown;

/** Hands a scan or case over; it is written to the folder under a free name. */
export const take = (file: File) =>
  asked(`api/file/${encodeURIComponent(file.name)}`, { method: "PUT", body: file });

/** A surface as flat arrays, `scan` or `part`. */
export const surface = async (which: "scan" | "part"): Promise<ArrayBuffer> =>
  (await asked(`api/${which}/surface`)).arrayBuffer();

/** Where a file of the result is to be had. */
export const output = (name: string): string =>
  `out/${name.split("/").map(encodeURIComponent).join("/")}`;

/** Calls back at once and whenever the state has changed; `lost` when the server is gone. */
export function onChange(changed: () => void, lost: (isLost: boolean) => void): void {
  const events = new EventSource("api/events");
  events.onmessage = () => {
    lost(false);
    changed();
  };
  events.onerror = () => lost(true);
}
