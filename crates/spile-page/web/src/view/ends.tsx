// The ends: where the scan is cut, what is joined there, and where that stands.

import type { FoundEndShown } from "../api/messages";
import { nearEnd, siteOf } from "../state/plan";
import { at, keyOfLine, listAt, numberAt, tableOfLine, textAt, tidy, tripleAt, unitOf, type Way } from "../state/values";
import type { Acts } from "../ui/acts";
import { Choice, Num, Triple, Words } from "../ui/fields";
import { digits, place } from "../ui/format";
import { Term } from "../ui/words";
import { Cut } from "./cut";
import { FittingOf } from "./fitting";
import { Mistakes, Section } from "./section";

export function EndsSection({ acts }: { acts: Acts }) {
  const { state } = acts;
  const ends = listAt(state.case?.values, ["end"]);
  const found = state.scan?.examined?.ends ?? [];
  const free = found.filter((end) => !ends.some((_, k) => isAt(acts, k, end)));
  return (
    <Section acts={acts} topic="ends" title="Ends">
      {ends.length === 0 && <p>No <Term of="end" /> is named yet.</p>}
      {ends.map((_, k) => <End key={k} acts={acts} k={k} />)}
      {free.map((end) => (
        <p key={place(end.centre)}>
          <button type="button" onClick={() => acts.fly(end.centre, 2 * end.bore, end.direction)}>
            Open rim {digits(end.bore)} {unitOf(state)} across at {place(end.centre)}
          </button>{" "}
          <button type="button" onClick={() => name(acts, end)}>Make it an end</button>
        </p>
      ))}
    </Section>
  );
}

function isAt(acts: Acts, k: number, end: FoundEndShown): boolean {
  const values = acts.state.case?.values;
  const near = ["rim", "cut"].flatMap((key) => {
    const here = at(values, ["end", k, key]);
    return [here, at(here, ["from"]), at(here, ["through"])].filter(Array.isArray) as number[][];
  });
  return near.some((p) => Math.hypot(...p.map((x, i) => x - end.centre[i as 0])) < Math.max(end.bore, end.outside ?? 0));
}

function name(acts: Acts, end: FoundEndShown): void {
  const ends = listAt(acts.state.case?.values, ["end"]);
  const names = ends.map((_, k) => textAt(acts.state.case?.values, ["end", k, "name"]));
  let number = ends.length + 1;
  while (names.includes(`end-${number}`)) number++;
  const value = { name: `end-${number}`, rim: end.centre };
  acts.change("one end more", [{ path: ["end", ends.length], value }]);
}

function End({ acts, k }: { acts: Acts; k: number }) {
  const { state, set } = acts;
  const values = state.case?.values;
  const here = (...more: Way): Way => ["end", k, ...more];
  const unit = unitOf(state);
  const name = textAt(values, here("name")) ?? "";
  const kind = textAt(values, here("fitting", "kind")) ?? (at(values, here("fitting")) ? "other" : "none");
  const num = (label: string, ...way: Way) => (
    <Num label={`${name}: ${label}`} unit={unit} value={numberAt(values, here(...way))} onSet={(x) => set(here(...way), x)} />
  );
  const text = state.case?.text ?? "";
  const wrong = (state.case?.refused?.places ?? [])
    .filter(({ line }) => tableOfLine(text, line) === `end ${k}`)
    .map((place) => ({ ...place, message: `${keyOfLine(text, place.line)}: ${place.message}` }));
  return (
    <div
      class="end" role="group" aria-label={`end ${name}`}
      onFocusCapture={() => acts.show({ end: k })} onPointerDown={() => acts.show({ end: k })}
    >
      <h3>
        <Words label="name of the end" value={name} onSet={(to) => set(here("name"), to)} />
      </h3>
      <Cut acts={acts} k={k} />
      <p>
        Joined to <FittingOf acts={acts} k={k} />
      </p>
      {kind !== "none" && <Place acts={acts} k={k} />}
      {kind !== "none" && (
        <p>
          The scan may change within a <Term of="reach" /> of {num("reach", "reach")} from here, and no farther.
        </p>
      )}
      <Mistakes places={wrong} />
      <p class="acts">
        <button type="button" onClick={() => look(acts, k)}>Look at it</button>{" "}
        <button type="button" onClick={() => void set(here(), undefined)}>Leave this end out</button>
      </p>
    </div>
  );
}

/** Straight on by a gap, or by coordinates. */
function Place({ acts, k }: { acts: Acts; k: number }) {
  const { state, set, setOne } = acts;
  const values = state.case?.values;
  const here = (...more: Way): Way => ["end", k, ...more];
  const name = textAt(values, here("name")) ?? "";
  const place = at(values, here("place"));
  const way = typeof place === "string" ? place : at(place, ["at"]) ? "at" : "gap";
  const options = [
    ["gap", "straight on along the bore"],
    ["at", "at a place"],
    ["auto", "straight on, at the least gap that holds all limits"],
    ...(textAt(values, here("fitting", "file")) ? [["as-modelled", "where its file has it"] as const] : []),
  ] as const;
  const choose = (to: string) => {
    if (to === "auto" || to === "as-modelled") return void set(here("place"), to);
    const near = nearEnd(acts.state, k);
    const bore = numberAt(values, here("fitting", "bore")) ?? near?.bore ?? 1;
    if (to === "gap") return void set(here("place"), { gap: tidy(0.75 * bore) });
    const start = siteOf(values, k) ?? near?.centre ?? [0, 0, 0];
    const along = tripleAt(values, here("cut", "facing")) ?? near?.direction ?? [0, 0, 1];
    const on = start.map((x, i) => Number((x + 0.75 * bore * along[i as 0]).toFixed(3)));
    void set(here("place"), { at: on, along });
  };
  return (
    <p>
      It stands <Choice label={`${name}: place of the fitting`} value={way} options={options} onSet={choose} />
      {way === "gap" && (
        <>
          , <Num label={`${name}: gap`} unit={unitOf(state)} value={numberAt(place, ["gap"])} onSet={(x) => set(here("place", "gap"), x)} /> on
        </>
      )}
      {way === "at" && (
        <>
          {" "}<Triple label={`${name}: centre of the near face`} value={tripleAt(place, ["at"])} onSet={(i, x) => setOne(here("place", "at"), i, x)} />, its axis along{" "}
          <Triple label={`${name}: axis`} value={tripleAt(place, ["along"])} onSet={(i, x) => setOne(here("place", "along"), i, x)} />
        </>
      )}
      .
    </p>
  );
}

function look(acts: Acts, k: number): void {
  const { values } = acts.state.case ?? {};
  const site = siteOf(values, k);
  const facing = tripleAt(values, ["end", k, "cut", "facing"]) ?? nearEnd(acts.state, k)?.direction;
  if (site) acts.fly(site, 2 * (nearEnd(acts.state, k)?.bore ?? 10), facing);
}
