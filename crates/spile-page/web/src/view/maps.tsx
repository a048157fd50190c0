// The part under a map: its scale, how its points are spread, and the limit.

import { useEffect, useState } from "preact/hooks";

import * as server from "../api/server";
import { at, listAt, textAt, unitOf } from "../state/values";
import type { Acts, MapName } from "../ui/acts";
import { Choice } from "../ui/fields";
import { digits } from "../ui/format";
import { limitOf, rangeOf } from "../ui/map-range";
import { bins, css, SCALE } from "../ui/scale";

const WIDTH = 320;
const HEIGHT = 46;
const BINS = 64;

export function Maps({ acts }: { acts: Acts }) {
  const { state, view, show } = acts;
  const values = state.case?.values;
  const hasPlainEnd = listAt(values, ["end"]).some((end) => at(end, ["fitting"]) === undefined);
  const isWallMade = ["bore", "cavity"].includes(textAt(values, ["scan", "form"]) ?? "");
  const options = [
    ["none", "what it is made of"],
    ["deviation", "its deviation from the scan"],
    ["wall", "the thickness of its wall"],
  ] as const;
  return (
    <div class="maps">
      <p>
        Coloured by{" "}
        <Choice label="what the part is coloured by" value={view.map ?? "none"} options={options} onSet={(to) => show({ map: to === "none" ? null : to, blend: 1 })} />
        {!state.result?.has_maps && view.map && " (it is not there yet)"}.{" "}
        <label><input type="checkbox" checked={view.hasEdges} onChange={(event) => show({ hasEdges: event.currentTarget.checked })} /> with the triangles' edges</label>
      </p>
      {view.map && state.result?.has_maps ? <Scale acts={acts} which={view.map} /> : (
        <ul class="legend" aria-label="colours of the part">
          <li class="kept">scan as it was</li>
          <li class="replaced">replaced scan</li>
          <li class="joint">joint</li>
          <li class="fitting">fitting</li>
          {hasPlainEnd && <li class="end-face">flat end</li>}
          {isWallMade && <li class="made-wall">wall that spile made</li>}
        </ul>
      )}
    </div>
  );
}

function Scale({ acts, which }: { acts: Acts; which: MapName }) {
  const { state } = acts;
  const [map, setMap] = useState<Float32Array | null>(null);
  useEffect(() => {
    let isOld = false;
    setMap(null);
    server.map(which).then((found) => isOld || setMap(found), () => undefined);
    return () => void (isOld = true);
  }, [which, state.result?.number]);
  if (!map) return <p role="status">Reading the map…</p>;
  const range = rangeOf(which, map, state.result);
  // Kept points lie at 0 by their nature; they would hide all else.
  const shown = which === "deviation" ? map.filter((x) => x !== 0) : map;
  const found = bins(shown, range, BINS);
  const most = Math.max(...found, 1);
  const limit = limitOf(which, state.result);
  const limits = limit === null ? [] : which === "deviation" ? [-limit, limit] : [limit];
  const x = (value: number) => (WIDTH * (value - range.from)) / (range.to - range.from);
  const unit = unitOf(state);
  const values = shown.filter((v) => !Number.isNaN(v));
  const beyond = limit === null ? 0 : values.filter((v) => (which === "deviation" ? Math.abs(v) > limit : v < limit)).length;
  return (
    <figure class="scale" data-test="scale" data-from={range.from} data-to={range.to} data-beyond={beyond}>
      <svg viewBox={`0 0 ${WIDTH} ${HEIGHT + 14}`} role="img" aria-label={`points of the part by ${which}, from ${digits(range.from)} to ${digits(range.to)} ${unit}`}>
        {found.map((n, k) => (
          <rect key={k} x={(WIDTH * k) / BINS} width={WIDTH / BINS - 0.5} y={HEIGHT * (1 - n / most)} height={(HEIGHT * n) / most} fill={css(SCALE[Math.floor(((k + 0.5) * SCALE.length) / BINS)]!)} />
        ))}
        {SCALE.map((colour, k) => k % 4 === 0 && (
          <rect key={k} class="step" x={(WIDTH * k) / SCALE.length} width={(WIDTH * 4) / SCALE.length + 0.3} y={HEIGHT + 2} height="12" fill={css(colour)} />
        ))}
        {limits.map((value) => <line key={value} class="limit" x1={x(value)} x2={x(value)} y1="0" y2={HEIGHT + 14} />)}
      </svg>
      <figcaption>
        <span>{digits(range.from)}</span>
        <span>
          {which === "deviation" ? "deviation of replaced scan, out of its material positive" : "shortest way to the other side"}, {unit}
          {limit !== null && <>; <span class="limit-word">limit {digits(limit)}</span>, {beyond === 0 ? "no point beyond it" : `${beyond} points beyond it`}</>}
          {limit !== null && which === "wall" && beyond > 0 && " (the limit is asked in the joint; the scan's own wall may be thinner)"}
        </span>
        <span>{digits(range.to)}{which === "wall" && " and more"}</span>
      </figcaption>
    </figure>
  );
}
