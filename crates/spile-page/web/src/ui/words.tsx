// What the words mean: point at one, or reach it by keyboard, and its meaning is there.

import type { ComponentChildren } from "preact";

const MEANING = {
  bore: "the flow side of the wall",
  outside: "the other side of the wall",
  reach: "how far from the cut the scan may be changed",
  seam: "a loop where the joint meets scan or fitting",
  joint: "the new wall between scan and fitting",
  rim: "a loop where a wall ends",
  end: "a place where the scan is cut or ends; a fitting is joined there, or it is finished flat",
  fitting: "the exact round part that is joined",
  keep: "a region that stays bit for bit as scanned",
  deviation: "the largest distance between the scan and what replaced it near a joint, both ways",
  wall_min: "the shortest straight distance between bore and outside",
  bore_loss: "the share of its area that the bore may lose at any section",
  kink: "the largest angle between the two triangles at a seam's edge",
  ball_min: "a ball of this diameter travels from the fitting to the far border of reach",
  chord: "how far a fitting's triangles may lie from its exact surface",
  part: "the finished solid",
  proof: "limit by limit: asked, measured with guaranteed bounds, where, held or broken",
  "guaranteed bound": "the true value lies between the two numbers, rounding included",
  conflict: "limits that do not hold together, and values that would",
  closed: "one outward shell, every edge between two triangles, nothing meets itself",
  untouched: "what lies beyond reach or in a keep is in the part bit for bit",
  station: "a place on the centreline with the section square to it",
} as const;

export type Word = keyof typeof MEANING;

/** The meaning of a limit's name or another word, if it has one here. */
export const meaning = (word: string): string | undefined => MEANING[word as Word];

/** A word with its meaning in place. */
export function Term({ of, children }: { of: Word; children?: ComponentChildren }) {
  return (
    <dfn tabIndex={0} data-meaning={MEANING[of]} aria-label={`${of}: ${MEANING[of]}`}>
      {children ?? of}
    </dfn>
  );
}
