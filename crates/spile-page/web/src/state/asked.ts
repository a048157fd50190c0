// What is asked of the server once and kept while it holds.

import { useEffect, useState } from "preact/hooks";

import type { FittingShown, LineShown, State } from "../api/messages";
import * as server from "../api/server";
import { nearEnd } from "./plan";

let known: Promise<FittingShown[]> | null = null;

/** The fittings that are known; none until they are there. */
export function useFittings(): FittingShown[] {
  const [fittings, setFittings] = useState<FittingShown[]>([]);
  useEffect(() => {
    known ??= server.fittings();
    known.then(setFittings, () => (known = null));
  }, []);
  return fittings;
}

const lines = new Map<string, Promise<LineShown | null>>();

/** The line along the bore from the rim nearest an end; null until it is there. */
export function useLine(state: State, k: number): LineShown | null {
  const [line, setLine] = useState<LineShown | null>(null);
  const near = nearEnd(state, k);
  const key = near && state.scan?.has_surface ? `${state.scan.examined?.sha256} ${near.centre}` : "";
  useEffect(() => {
    setLine(null);
    if (!key || !near) return;
    let isOld = false;
    const asked = lines.get(key) ?? server.line({ from: near.centre, facing: near.direction, bore: near.bore }).catch(() => null);
    lines.set(key, asked);
    void asked.then((found) => isOld || setLine(found));
    return () => void (isOld = true);
  }, [key]);
  return line;
}

/** Asks again and again, one at a time: while an answer is out only the last wish is kept. */
export function inStep<W, A>(ask: (wish: W) => Promise<A>, answered: (answer: A, wish: W) => void): (wish: W) => void {
  let [isOut, next]: [boolean, { wish: W } | null] = [false, null];
  const go = (wish: W) => {
    isOut = true;
    const done = () => {
      isOut = false;
      const wished = next;
      next = null;
      if (wished) go(wished.wish);
    };
    ask(wish).then((answer) => answered(answer, wish), () => undefined).then(done);
  };
  return (wish) => {
    if (isOut) next = { wish };
    else go(wish);
  };
}
