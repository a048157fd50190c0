// The 3D view as a part of the page: what is shown follows the state and what is in hand.

import { useEffect, useRef } from "preact/hooks";

import type { State } from "../api/messages";
import * as server from "../api/server";
import { readSurface } from "../api/surface";
import { Scene, type Marks, type Tube } from "../scene/scene";
import { listAt, numberAt, textAt, tripleAt, type Triple, type Way } from "../state/values";
import { siteOf } from "./ends";

/** Where to look; a new object each time. */
export interface Look {
  at: Triple;
  size: number;
  normal?: Triple | undefined;
}

interface PictureProps {
  state: State;
  blend: number;
  look: Look | null;
  ring: Marks["places"];
  plane: Marks["planes"];
  onPick: (at: Triple) => void;
}

export function Picture({ state, blend, look, ring, plane, onPick }: PictureProps) {
  const host = useRef<HTMLDivElement>(null);
  const scene = useRef<Scene | null>(null);
  const failed = useRef<string | null>(null);
  if (host.current && !scene.current && !failed.current) make();
  function make() {
    try {
      scene.current = new Scene(host.current!);
    } catch {
      failed.current = "This browser shows no 3D pictures (WebGL 2); all else works.";
    }
  }
  useEffect(make, []);
  useEffect(() => {
    if (scene.current) scene.current.onPick = onPick;
  }, [onPick]);
  useSurface("scan", state.scan?.has_surface ? state.scan.file : "", scene);
  useSurface("part", state.result?.has_surface ? String(state.result.number) : "", scene);
  useEffect(() => scene.current?.blend(blend));
  const isPlan = blend < 0.5 || !state.result?.has_surface;
  const marks = JSON.stringify([state.case?.values, state.scan?.examined?.sha256, ring, plane, isPlan]);
  useEffect(() => {
    const ends = listAt(state.case?.values, ["end"]);
    const keeps = listAt(state.case?.values, ["keep"]);
    scene.current?.mark({
      places: ring,
      // What is planned is shown until the part shows what came of it.
      planes: [...plane, ...(isPlan ? ends.flatMap((_, k) => cutOf(state, k)) : [])],
      tubes: isPlan ? ends.flatMap((_, k) => tubeOf(state, k)) : [],
      balls: keeps.flatMap((_, k) => {
        const at = tripleAt(state.case?.values, ["keep", k, "ball", "at"]);
        const radius = numberAt(state.case?.values, ["keep", k, "ball", "radius"]);
        return at && radius ? [{ at, radius }] : [];
      }),
    });
  }, [marks]);
  useEffect(() => {
    if (look) scene.current?.place(look.at, look.size, look.normal);
  }, [look]);
  const views = listAt(state.case?.values, ["end"]).map((_, k) => k);
  return (
    <div class="picture">
      <div class="views" role="group" aria-label="views">
        <button type="button" onClick={() => scene.current?.all()}>All of it</button>
        {views.map((k) => <Views key={k} state={state} k={k} scene={scene} />)}
      </div>
      <div class="canvas" ref={host} data-test="picture" />
      {failed.current && <p role="status">{failed.current}</p>}
    </div>
  );
}

/** The words by which a view of an end is chosen. */
function Views({ state, k, scene }: { state: State; k: number; scene: { current: Scene | null } }) {
  const values = state.case?.values;
  const name = textAt(values, ["end", k, "name"]) ?? "";
  const site = siteOf(values, k);
  const facing = facingOf(state, k);
  if (!site || !facing) return null;
  const size = numberAt(values, ["end", k, "fitting", "outside"]) ?? 10;
  const across: Triple = Math.abs(facing[2]) < 0.9 ? [-facing[1], facing[0], 0] : [0, -facing[2], facing[1]];
  const tube = tubeOf(state, k)[0];
  return (
    <>
      <button type="button" onClick={() => scene.current?.place(site, size, facing)}>Along the bore at {name}</button>
      <button type="button" onClick={() => scene.current?.place(site, size, across)}>Square to the bore at {name}</button>
      {tube && (
        <button type="button" onClick={() => scene.current?.place(tube.at, size, tube.along)}>From the fitting at {name}</button>
      )}
    </>
  );
}

function useSurface(which: "scan" | "part", key: string, scene: { current: Scene | null }): void {
  useEffect(() => {
    if (!key) {
      scene.current?.set(which, null);
      return;
    }
    let isOld = false;
    server.surface(which).then(
      (bytes) => !isOld && scene.current?.set(which, readSurface(bytes)),
      () => undefined,
    );
    return () => void (isOld = true);
  }, [key]);
}

function facingOf(state: State, k: number): Triple | undefined {
  const values = state.case?.values;
  const site = siteOf(values, k);
  const away = (p: Triple) => Math.hypot(...p.map((x, i) => x - (site ?? p)[i as 0]));
  const ends = [...(state.scan?.examined?.ends ?? [])].sort((a, b) => away(a.centre) - away(b.centre));
  return tripleAt(values, ["end", k, "cut", "facing"]) ?? ends[0]?.direction;
}

function cutOf(state: State, k: number): Marks["planes"] {
  const at = tripleAt(state.case?.values, ["end", k, "cut", "through"]);
  const facing = tripleAt(state.case?.values, ["end", k, "cut", "facing"]);
  const ends = state.scan?.examined?.ends ?? [];
  const radius = 0.9 * Math.max(...ends.map((e) => e.outside ?? e.bore), 1);
  return at && facing ? [{ at, facing, radius }] : [];
}

/** The tube that a case asks for, where its place is known without making it. */
function tubeOf(state: State, k: number): Tube[] {
  const values = state.case?.values;
  const here = (...more: Way): Way => ["end", k, ...more];
  const [bore, outside, length] = ["bore", "outside", "length"].map((key) => numberAt(values, here("fitting", key)));
  if (!bore || !outside || !length) return [];
  const gap = numberAt(values, here("place", "gap"));
  const site = siteOf(values, k);
  const facing = facingOf(state, k);
  const at = tripleAt(values, here("place", "at"))
    ?? (gap !== undefined && site && facing ? (site.map((x, i) => x + gap * facing[i as 0]) as Triple) : undefined);
  const along = tripleAt(values, here("place", "along")) ?? facing;
  return at && along ? [{ at, along, bore, outside, length }] : [];
}
