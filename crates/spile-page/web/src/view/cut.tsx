// Where an end is cut: at its rim, a way below it, or by a plane; and the bore there.

import { useEffect, useState } from "preact/hooks";

import type { LoopShown } from "../api/messages";
import * as server from "../api/server";
import { at, numberAt, textAt, tidy, tripleAt, type Triple as Point, unitOf, type Way } from "../state/values";
import type { Acts } from "../ui/acts";
import { Choice, Num, Triple } from "../ui/fields";
import { digits } from "../ui/format";
import { Term } from "../ui/words";
import { nearEnd, siteOf } from "./ends";

const WAYS = [
  ["rim", "at its open rim"],
  ["station", "a way below its rim, square to the bore"],
  ["plane", "by a plane"],
] as const;

export function Cut({ acts, k }: { acts: Acts; k: number }) {
  const { state, set } = acts;
  const values = state.case?.values;
  const here = (...more: Way): Way => ["end", k, ...more];
  const name = textAt(values, here("name")) ?? "";
  const way = tripleAt(values, here("rim")) ? "rim" : tripleAt(values, here("cut", "through")) ? "plane" : "station";
  const choose = (to: string) => {
    const near = nearEnd(acts, k);
    const site = siteOf(values, k) ?? near?.centre ?? [0, 0, 0];
    const bore = near?.bore ?? 10;
    const facing = tripleAt(values, here("cut", "facing")) ?? near?.direction ?? [0, 0, 1];
    const below = site.map((x, i) => Number((x - 0.5 * bore * facing[i as 0]).toFixed(3)));
    const cut = { station: { from: near?.centre ?? site, along: tidy(0.5 * bore) }, plane: { through: below, facing } }[to];
    const path = here();
    acts.change("where it is cut", to === "rim"
      ? [{ path: [...path, "cut"], value: null }, { path: [...path, "rim"], value: near?.centre ?? site }]
      : [{ path: [...path, "rim"], value: null }, { path: [...path, "trim"], value: null }, { path: [...path, "cut"], value: cut }]);
  };
  return (
    <>
      <p>
        The scan ends <Choice label={`${name}: where the scan ends`} value={way} options={WAYS} onSet={choose} />
        {way === "rim" && (
          <>, the <Term of="rim" /> nearest <Triple label={`${name}: near`} value={tripleAt(values, here("rim"))} onSet={(p) => set(here("rim"), p)} /></>
        )}
        {way === "station" && (
          <>: <Num label={`${name}: way below the rim`} unit={unitOf(state)} value={numberAt(values, here("cut", "along"))} onSet={(x) => set(here("cut", "along"), x)} /> along the middle of the bore</>
        )}
        {way === "plane" && (
          <> through <Triple label={`${name}: point of the plane`} value={tripleAt(values, here("cut", "through"))} onSet={(p) => set(here("cut", "through"), p)} />, facing <Triple label={`${name}: facing`} value={tripleAt(values, here("cut", "facing"))} onSet={(p) => set(here("cut", "facing"), p)} /></>
        )}
        .
      </p>
      {way === "plane" && <Slide acts={acts} k={k} />}
    </>
  );
}

/** Slides a plane along its own direction, the bore in it told meanwhile. */
function Slide({ acts, k }: { acts: Acts; k: number }) {
  const { values } = acts.state.case ?? {};
  const through = tripleAt(values, ["end", k, "cut", "through"]);
  const facing = tripleAt(values, ["end", k, "cut", "facing"]);
  const name = textAt(values, ["end", k, "name"]) ?? "";
  const most = nearEnd(acts, k)?.bore ?? 10;
  const [by, setBy] = useState(0);
  const [bore, setBore] = useState<LoopShown | null>(null);
  const hasSurface = acts.state.scan?.has_surface;
  const key = JSON.stringify([through, facing, by, hasSurface]);
  useEffect(() => setBy(0), [JSON.stringify([through, facing])]);
  useEffect(() => {
    if (!through || !facing || !hasSurface) return;
    let isOld = false;
    const asked = { through: moved(through, facing, by), facing };
    // Of the loops round the point the innermost is the bore.
    server.section(asked).then(
      ({ loops }) => !isOld && setBore(innermost(loops)),
      () => !isOld && setBore(null),
    );
    return () => void (isOld = true);
  }, [key]);
  if (!through || !facing) return null;
  const unit = unitOf(acts.state);
  return (
    <p>
      <label>
        Slide it:{" "}
        <input
          type="range" min={-most} max={most} step={most / 100} value={by}
          aria-label={`${name}: slide the cut, ${unit}`}
          onInput={(event) => setBy(Number(event.currentTarget.value))}
          onChange={(event) => {
            const to = moved(through, facing, Number(event.currentTarget.value));
            acts.set(["end", k, "cut", "through"], to.map((x) => Number(x.toFixed(4))));
          }}
        />
      </label>{" "}
      <output data-test={`bore-${k}`}>
        {bore
          ? `Here the bore has ${digits(bore.area)} ${unit}², as a circle of ${digits(2 * Math.sqrt(bore.area / Math.PI))} ${unit}; roundness ${digits(bore.roundness)} of 1.`
          : "The plane cuts no closed loop here."}
      </output>
    </p>
  );
}

const moved = (p: Point, along: Point, by: number): Point => {
  const length = Math.hypot(...along) || 1;
  return [0, 1, 2].map((i) => p[i as 0] + (by * along[i as 0]) / length) as Point;
};

/** The smaller of the two loops nearest the point: bore before outside. */
function innermost(loops: LoopShown[]): LoopShown | null {
  const [a, b] = loops;
  if (!a || !b) return a ?? null;
  return a.area <= b.area ? a : b;
}

/** Whether a value of the case is there at all. */
export const isThere = (values: unknown, way: Way): boolean => at(values, way) !== undefined;
