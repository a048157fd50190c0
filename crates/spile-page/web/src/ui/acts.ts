// What a section can do: change the case, ask the server, steer the picture.

import type { Edit, FindingShown, State } from "../api/messages";
import type { Triple, Way } from "../state/values";

/** The part of the job that is in hand: the picture shows what it is about. */
export type Topic = "scan" | "ends" | "limits" | "keeps" | "part" | "proof";

/** What the part can be coloured by. */
export type MapName = "deviation" | "wall";

/** A plane. */
export interface PlaneShown {
  through: Triple;
  facing: Triple;
}

/** What of the picture is steered from the column. None of it is in the case. */
export interface View {
  /** How much of the part is shown in place of the scan: 0 none, 1 all. */
  blend: number;
  /** Where to look; a new object each time. */
  look: { at: Triple; size: number; normal?: Triple | undefined } | null;
  /** Rings with numbers. */
  ring: { at: Triple; size: number; label: string }[];
  /** A finding's outline with its number. */
  outline: { pairs: Float32Array; at: Triple; label: string } | null;
  /** The strip's station. */
  station: { at: Triple; facing: Triple; radius: number } | null;
  /** The place that was pointed at last, and the one before. */
  picked: Triple | null;
  earlier: Triple | null;
  /** The brush, while there is painting. */
  brush: { radius: number; isErasing: boolean } | null;
  map: MapName | null;
  hasEdges: boolean;
  /** The picture is cut open here. */
  open: PlaneShown | null;
  /** The end that is in hand. */
  end: number;
  /** What is being slid or tilted, `place` or `cut` with the end's number, and where it would be. */
  draft: { id: string; at: Triple; along: Triple } | null;
}

/** What the picture shows to begin with. */
export const FIRST_VIEW: View = {
  blend: 0, look: null, ring: [], outline: null, station: null, picked: null, earlier: null, brush: null,
  map: null, hasEdges: false, open: null, end: 0, draft: null,
};

/** Handed to every section. */
export interface Acts {
  state: State;
  view: View;
  /** Changes what the picture shows. */
  show: (change: Partial<View>) => void;
  /** Changes one value of the case; undefined takes it out. Settles once it is in the state. */
  set: (way: Way, value: unknown) => Promise<void>;
  /** Changes one coordinate of the three at `way`. */
  setOne: (way: Way, k: 0 | 1 | 2, value: number) => Promise<void>;
  /** Changes several values, undone together. */
  change: (what: string, edits: Edit[]) => Promise<void>;
  /** Does something on the server and then has its state; what it refuses is told. */
  ask: (asked: () => Promise<unknown>) => Promise<void>;
  /** Flies to a place of about this size. */
  fly: (at: Triple, size: number, normal?: Triple) => void;
  /** A ring with this number at a place, until another is set. */
  point: (at: Triple, size: number, label: string) => void;
  /** The section that is in hand. */
  topic: Topic;
  take: (topic: Topic) => void;
}

/** What findings are sorted by, and what that means. */
export const EFFECTS: readonly [FindingShown["effect"], string][] = [
  ["stops closing", "These keep a part from closing"],
  ["within reach", "These lie within reach of an end"],
  ["elsewhere", "These lie where nothing changes"],
];
