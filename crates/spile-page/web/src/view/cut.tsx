// Where an end is cut: at its rim, a way below it, or by a plane; and the bore there.

import { useEffect, useMemo, useState } from "preact/hooks";

import type { LoopShown } from "../api/messages";
import * as server from "../api/server";
import { inStep, useLine } from "../state/asked";
import { alongOf, cutOf, endWay, moved, nameOf, nearEnd, onLine, rounded, siteOf } from "../state/plan";
import { numberAt, tidy, tripleAt, type Triple as Point, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { Choice, Num, Triple } from "../ui/fields";
import { digits } from "../ui/format";
import { Term } from "../ui/words";

const WAYS = [
  ["rim", "at its open rim"],
  ["station", "a way below its rim, square to the bore"],
  ["plane", "by a plane"],
] as const;

export function Cut({ acts, k }: { acts: Acts; k: number }) {
  const { state, set, setOne } = acts;
  const values = state.case?.values;
  const here = (...more: string[]) => endWay(k, ...more);
  const name = nameOf(values, k);
  const way = tripleAt(values, here("rim")) ? "rim" : tripleAt(values, here("cut", "through")) ? "plane" : "station";
  const choose = (to: string) => {
    const near = nearEnd(state, k);
    const site = siteOf(values, k) ?? near?.centre ?? [0, 0, 0];
    const bore = near?.bore ?? 10;
    const facing = tripleAt(values, here("cut", "facing")) ?? rounded(near?.direction ?? [0, 0, 1]);
    const below = rounded(moved(site, facing, -0.5 * bore));
    const cut = { station: { from: near?.centre ?? site, along: tidy(0.5 * bore) }, plane: { through: below, facing } }[to];
    const path = here();
    void acts.change("where it is cut", to === "rim"
      ? [{ path: [...path, "cut"], value: null }, { path: [...path, "rim"], value: near?.centre ?? site }]
      : [{ path: [...path, "rim"], value: null }, { path: [...path, "trim"], value: null }, { path: [...path, "cut"], value: cut }]);
  };
  return (
    <>
      <p>
        The scan ends <Choice label={`${name}: where the scan ends`} value={way} options={WAYS} onSet={choose} />
        {way === "rim" && (
          <>, the <Term of="rim" /> nearest <Triple label={`${name}: near`} value={tripleAt(values, here("rim"))} onSet={(i, x) => setOne(here("rim"), i, x)} />; to get rid of its teeth, at most{" "}
            <Num label={`${name}: what may be given up`} unit={unitOf(state)} value={numberAt(values, here("trim"))} onSet={(x) => set(here("trim"), x)} /> may be given up</>
        )}
        {way === "station" && (
          <>: <Num label={`${name}: way below the rim`} unit={unitOf(state)} value={numberAt(values, here("cut", "along"))} onSet={(x) => set(here("cut", "along"), x)} /> along the middle of the bore</>
        )}
        {way === "plane" && (
          <> through <Triple label={`${name}: point of the plane`} value={tripleAt(values, here("cut", "through"))} onSet={(i, x) => setOne(here("cut", "through"), i, x)} />, facing <Triple label={`${name}: facing`} value={tripleAt(values, here("cut", "facing"))} onSet={(i, x) => setOne(here("cut", "facing"), i, x)} /></>
        )}
        .
      </p>
      <Slide acts={acts} k={k} isRim={way === "rim"} />
    </>
  );
}

/** Slides the cut along the bore, which is told meanwhile. */
function Slide({ acts, k, isRim }: { acts: Acts; k: number; isRim: boolean }) {
  const { state, view, show } = acts;
  const { values } = state.case ?? {};
  const name = nameOf(values, k);
  const line = useLine(state, k);
  const draft = view.draft?.id === `cut ${k}` ? view.draft : null;
  const plane = draft ?? cutOf(state, k, line);
  const [bore, setBore] = useState<LoopShown | null | undefined>(undefined);
  // Of the loops round the point the innermost is the bore.
  const ask = useMemo(
    () => inStep(
      (wish: { at: Point; along: Point }) => server.section({ through: wish.at, facing: wish.along, of: "scan" }),
      ({ loops }) => setBore(innermost(loops)),
    ),
    [],
  );
  const key = JSON.stringify([plane?.at, plane?.along, state.scan?.has_surface, state.scan?.number]);
  useEffect(() => {
    if (!isRim && plane && state.scan?.has_surface) ask({ at: plane.at, along: plane.along });
  }, [key, isRim]);
  if (isRim) return null;
  const unit = unitOf(state);
  const along = numberAt(values, endWay(k, "cut", "along"));
  const longest = line?.points.at(-1)?.along ?? 0;
  const now = draft ? alongOf(line, draft.at) : along ?? (plane ? alongOf(line, plane.at) : 0);
  return (
    <p>
      {longest > 0 && (
        <label>
          Slide it along the bore:{" "}
          <input
            type="range" min={0} max={longest} step={longest / 400} value={now}
            aria-label={`${name}: slide the cut, ${unit}`}
            aria-valuetext={`${digits(now)} ${unit} below the rim`}
            onInput={(event) => {
              const to = onLine(line, Number(event.currentTarget.value));
              if (to) show({ draft: { id: `cut ${k}`, ...to }, end: k });
            }}
            onChange={(event) => {
              const s = Number(Number(event.currentTarget.value).toPrecision(4));
              const to = onLine(line, s);
              if (along !== undefined) void acts.set(endWay(k, "cut", "along"), s);
              else if (to) void acts.change("sliding the cut", [{ path: endWay(k, "cut"), value: { through: rounded(to.at), facing: rounded(to.along) } }]);
            }}
          />
        </label>
      )}{" "}
      <output data-test={`bore-${k}`}>
        {bore
          ? `Here the bore has ${digits(bore.area)} ${unit}², as a circle of ${digits(2 * Math.sqrt(bore.area / Math.PI))} ${unit}; it is ${digits(bore.widths[0])} to ${digits(bore.widths[1])} ${unit} wide, roundness ${digits(bore.roundness)} of 1.`
          : bore === null && "The plane cuts no closed loop here."}
      </output>
    </p>
  );
}

/** The smaller of the two loops nearest the point: bore before outside. */
function innermost(loops: LoopShown[]): LoopShown | null {
  const [a, b] = loops;
  if (!a || !b) return a ?? null;
  return a.area <= b.area ? a : b;
}
