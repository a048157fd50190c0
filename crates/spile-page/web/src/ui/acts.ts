// What a section can do: change the case, ask the server, steer the picture.

import type { Edit, FindingShown, State } from "../api/messages";
import type { Triple, Way } from "../state/values";

/** The part of the job that is in hand: the picture shows what it is about. */
export type Topic = "scan" | "ends" | "limits" | "keeps" | "part" | "proof";

/** Handed to every section. */
export interface Acts {
  state: State;
  /** Changes one value of the case; undefined takes it out. */
  set: (way: Way, value: unknown) => void;
  /** Changes several values, undone together. */
  change: (what: string, edits: Edit[]) => void;
  /** Does something on the server; what it refuses is told. */
  ask: (asked: () => Promise<unknown>) => void;
  /** Flies to a place of about this size. */
  fly: (at: Triple, size: number, normal?: Triple) => void;
  /** A ring with this number at a place, until another is set. */
  point: (at: Triple, size: number, label: string) => void;
  /** The section that is in hand. */
  topic: Topic;
  take: (topic: Topic) => void;
  /** The place that was pointed at last. */
  picked: Triple | null;
}

/** What findings are sorted by, and what that means. */
export const EFFECTS: readonly [FindingShown["effect"], string][] = [
  ["stops closing", "These keep a part from closing"],
  ["within reach", "These lie within reach of an end"],
  ["elsewhere", "These lie where nothing changes"],
];
