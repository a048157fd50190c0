// The part in a report, turned and coloured by its maps: the page's own picture, and a few
// words to steer it. Without this script the report says the same by pictures.

import { render } from "preact";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";

import type { EndTold, MapTold, Turnable } from "../api/turnable";
import { Scene } from "../scene/scene";
import { moved } from "../state/plan";
import type { Triple } from "../state/values";
import { digits, place } from "../ui/format";
import type { Colours, Three } from "../ui/scale";
import { type Part, readPart } from "./read";

const WHITE = 0xffffff;

const parsed = (colour: string): number => Number.parseInt(colour.slice(1), 16);
const channels = (colour: string): Three => [1, 3, 5].map((k) => Number.parseInt(colour.slice(k, k + 2), 16) / 255) as Three;
const coloursOf = ({ colours, none }: MapTold): Colours => ({ steps: colours.map(channels), none: channels(none) });

/** A direction square to another. */
const across = ([x, y, z]: Triple): Triple => (Math.abs(z) < 0.9 ? [-y, x, 0] : [0, -z, y]);

function Turned({ told, part }: { told: Turnable; part: Part }) {
  const host = useRef<HTMLDivElement>(null);
  const scene = useMemo<{ now: Scene | null }>(() => ({ now: null }), []);
  const [map, setMap] = useState(-1);
  const [opened, setOpened] = useState(-1);
  const [by, setBy] = useState(0);
  const [picked, setPicked] = useState<{ at: Triple; corners: Triple } | null>(null);
  useEffect(() => {
    const look = {
      label: "the part in space; the arrow keys turn it, Enter points at its middle",
      ground: { light: WHITE, dark: WHITE },
      regions: told.regions.map(({ colour }) => parsed(colour)),
      aside: null,
    };
    scene.now = new Scene(host.current!, look);
    scene.now.heard = { onPick: (at, _, corners) => setPicked({ at, corners }), onPainted: () => undefined, onCoarse: () => undefined, onMoved: () => undefined };
    scene.now.set("part", part.surface);
    scene.now.blend(1);
  }, []);
  useEffect(() => {
    const shown = told.maps[map];
    const [from, to] = shown?.range ?? [0, 1];
    scene.now?.colour(shown ? part.maps[map]! : null, { from, to }, shown && coloursOf(shown));
  }, [map]);
  const end = told.ends[opened];
  useEffect(() => {
    scene.now?.open(end ? { through: moved(end.at, across(end.along), by * end.across), facing: across(end.along) } : null);
  }, [opened, by]);
  useEffect(() => {
    const size = picked ? (told.ends[0]?.across ?? 10) / 30 : 0;
    scene.now?.mark({
      places: picked ? [{ at: picked.at, size, label: "here" }] : [],
      outlines: [], planes: [], tubes: [], balls: [], boxes: [], lines: [],
    });
  }, [picked]);
  const fly = ({ at, across }: EndTold, toward: Triple) => scene.now?.place(at, across, toward);
  const show = (at: Triple) => {
    scene.now?.place(at, (told.ends[0]?.across ?? 10) / 2);
    setPicked({ at, corners: nearest(part.surface.points, at) });
  };
  return (
    <>
      <p>
        <button type="button" onClick={() => scene.now?.all()}>All of it</button>
        {told.ends.map((one) => (
          <>
            <button type="button" onClick={() => fly(one, one.along)}>Along the bore at {one.name}</button>
            <button type="button" onClick={() => fly(one, across(one.along))}>Square to the bore at {one.name}</button>
          </>
        ))}
      </p>
      <div class="turnable-picture" ref={host} data-test="turned" />
      <p>
        <label>
          Coloured by{" "}
          <select data-test="map" onChange={(event) => setMap(Number(event.currentTarget.value))}>
            <option value="-1">what it is made of</option>
            {told.maps.map(({ name }, k) => <option key={name} value={k}>{name}</option>)}
          </select>
        </label>
        <label>
          Cut open{" "}
          <select data-test="open" onChange={(event) => setOpened(Number(event.currentTarget.value))}>
            <option value="-1">nowhere</option>
            {told.ends.map(({ name }, k) => <option key={name} value={k}>lengthwise at {name}</option>)}
          </select>
        </label>
        {end && (
          <label>
            and from there{" "}
            <input type="range" min="-1" max="1" step="0.02" value={by} onInput={(event) => setBy(Number(event.currentTarget.value))} />{" "}
            {digits(by * end.across)} {told.unit}
          </label>
        )}
        <label><input type="checkbox" onChange={(event) => scene.now?.edge(event.currentTarget.checked)} /> triangles' edges</label>
      </p>
      {told.maps[map] ? <Scale map={told.maps[map]} /> : <Key told={told} part={part} />}
      <p data-test="picked" role="status">{picked ? <Picked told={told} part={part} at={picked.at} corners={picked.corners} /> : "Point at the part to read what is there."}</p>
      {told.places.length > 0 && (
        <p>
          Worst places:{" "}
          {told.places.map(({ name, at }) => <button key={name} type="button" onClick={() => show(at)}>{name}</button>)}
        </p>
      )}
    </>
  );
}

/** What was pointed at: its values are those of the surface's nearest point. */
function Picked({ told, part, at, corners }: { told: Turnable; part: Part; at: Triple; corners: Triple }) {
  const { points } = part.surface;
  const far = (v: number) => Math.hypot(...at.map((x, k) => x - points[3 * v + k]!));
  const nearest = [...corners].sort((a, b) => far(a) - far(b))[0]!;
  const said = told.maps.flatMap(({ name }, k) => {
    const value = part.maps[k]![nearest]!;
    return Number.isNaN(value) ? [] : [`${name}, ${digits(value)} ${told.unit}`];
  });
  return <>At {place(at)}{said.length > 0 && <>; at the surface's nearest point: {said.join("; ")}</>}.</>;
}

/** The surface's point nearest a place, three times, as a triangle would name it. */
function nearest(points: Float32Array, at: Triple): Triple {
  let [best, least] = [0, Infinity];
  for (let v = 0; 3 * v < points.length; v++) {
    const far = Math.hypot(points[3 * v]! - at[0], points[3 * v + 1]! - at[1], points[3 * v + 2]! - at[2]);
    if (far < least) [best, least] = [v, far];
  }
  return [best, best, best];
}

function Key({ told, part }: { told: Turnable; part: Part }) {
  const there = useMemo(() => new Set(part.surface.regions), []);
  return (
    <ul class="key">
      {told.regions.map(({ name, colour }, k) => there.has(k) && (
        <li key={name}><svg viewBox="0 0 14 14" width="14" height="14" aria-hidden="true"><rect width="14" height="14" fill={colour} /></svg> {name}</li>
      ))}
    </ul>
  );
}

function Scale({ map: { scale, range: [from, to], colours } }: { map: MapTold }) {
  const width = 384 / colours.length;
  return (
    <div data-test="scale" data-from={from} data-to={to}>
      <svg class="scale-bar" viewBox="0 0 384 32" role="img" aria-label={`scale from ${digits(from)} to ${digits(to)}: ${scale}`}>
        {colours.map((colour, k) => <rect key={k} x={k * width} width={width + 0.4} height="12" fill={colour} />)}
        <text x="0" y="28" font-size="12">{digits(from)}</text>
        <text x="384" y="28" font-size="12" text-anchor="end">{digits(to)}</text>
      </svg>
      <p class="note">{scale}. Grey: no value.</p>
    </div>
  );
}

async function begin(): Promise<void> {
  const whole = document.getElementById("turnable");
  const host = whole?.querySelector(".turnable");
  const held = whole?.querySelector("script")?.textContent;
  // Where there is no WebGL the report's own pictures say the same.
  if (!whole || !host || !held || !document.createElement("canvas").getContext("webgl2")) return;
  const told = JSON.parse(held) as Turnable;
  const part = await readPart(told);
  whole.hidden = false;
  render(<Turned told={told} part={part} />, host);
}

void begin();
