// The 3D view as a part of the page: what is shown follows the state and what is in hand.

import { useEffect, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";

import type { ReachAsked } from "../api/messages";
import { awaited } from "../api/awaited";
import * as server from "../api/server";
import { readSurface } from "../api/surface";
import { type Heard, type Held, Scene } from "../scene/scene";
import { inStep, useFittings, useLine } from "../state/asked";
import { apart, cutOf, endWay, facingOf, moved, nameOf, nearEnd, paintedKeep, rounded, siteOf, tubeOf } from "../state/plan";
import { listAt, numberAt, tripleAt, type Triple, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { digits } from "../ui/format";
import { rangeOf } from "../ui/map-range";

export function Picture({ acts }: { acts: Acts }) {
  const { state, view, topic } = acts;
  const values = state.case?.values;
  const host = useRef<HTMLDivElement>(null);
  const [scene, setScene] = useState<Scene | null>(null);
  const [failed, setFailed] = useState(false);
  const [isCoarse, setCoarse] = useState(false);
  useEffect(() => {
    try {
      const scene = new Scene(host.current!);
      setScene(scene);
      // For those who time it.
      Object.assign(host.current!, { scene });
    } catch {
      setFailed(true);
    }
  }, []);
  useLayoutEffect(() => {
    if (scene) scene.heard = { ...heard(acts, paint), onCoarse: setCoarse };
  });
  const scanThere = useSurface("scan", state.scan?.has_surface ? String(state.scan.number) : "", scene);
  const partKey = state.result?.has_surface ? String(state.result.number) : "";
  const isThere = useSurface("part", partKey, scene);
  useEffect(() => scene?.blend(view.blend), [scene, view.blend, isThere, scanThere]);
  useMap(acts, scene, isThere);
  useEffect(() => scene?.edge(view.hasEdges), [scene, view.hasEdges, isThere]);
  useEffect(() => scene?.open(view.open), [scene, view.open]);
  const { paint, isReady } = usePainted(acts, scene, scanThere);
  // At once: what is done next is meant for this brush.
  useLayoutEffect(() => scene?.paintWith(isReady ? view.brush : null), [scene, view.brush, isReady]);

  const known = useFittings();
  const line = useLine(state, view.end);
  const isPlan = view.blend < 0.5 || !state.result?.has_surface;
  const held = isPlan && topic === "ends" && !view.brush ? heldAt(acts, known, line) : [];
  useEffect(() => scene?.hold(held), [scene, JSON.stringify(held)]);
  useReach(acts, scene, scanThere, isPlan && topic === "ends" ? line : undefined);
  const marks = JSON.stringify([
    values, state.scan?.examined?.sha256, view.ring, view.outline?.label, view.outline?.at, view.station,
    view.earlier, view.picked, view.draft, line?.points.length, known.length, isPlan,
  ]);
  useEffect(() => {
    const ends = listAt(values, ["end"]).map((_, k) => k);
    const keeps = listAt(values, ["keep"]).map((_, k) => k);
    const draftOf = (id: string) => (view.draft?.id === id ? view.draft : null);
    const lineOf = (k: number) => (k === view.end ? line : null);
    const rims = state.scan?.examined?.ends ?? [];
    const radius = 0.9 * Math.max(...rims.map((e) => e.outside ?? e.bore), 0.01 * Math.max(...(state.scan?.examined?.size ?? [1])));
    const { earlier, picked } = view;
    scene?.mark({
      places: view.ring,
      outlines: view.outline ? [view.outline] : [],
      // What is planned is shown until the part shows what came of it.
      planes: [
        ...(view.station ? [view.station] : []),
        ...(isPlan ? ends : []).flatMap((k) => {
          const cut = draftOf(`cut ${k}`) ?? cutOf(state, k, lineOf(k));
          return cut ? [{ at: cut.at, facing: cut.along, radius }] : [];
        }),
      ],
      tubes: (isPlan ? ends : []).flatMap((k) => {
        const tube = tubeOf(state, k, known, lineOf(k));
        return tube ? [{ ...tube, ...draftOf(`place ${k}`) }] : [];
      }),
      balls: keeps.flatMap((k) => {
        const at = tripleAt(values, ["keep", k, "ball", "at"]);
        const radius = numberAt(values, ["keep", k, "ball", "radius"]);
        return at && radius ? [{ at, radius }] : [];
      }),
      boxes: keeps.flatMap((k) => {
        const [min, max] = ["min", "max"].map((key) => tripleAt(values, ["keep", k, "box", key]));
        return min && max ? [{ min, max }] : [];
      }),
      lines: earlier && picked ? [{ from: earlier, to: picked, label: `${digits(apart(earlier, picked))} ${unitOf(state)}` }] : [],
    });
  }, [scene, marks]);
  useEffect(() => {
    if (view.look) scene?.place(view.look.at, view.look.size, view.look.normal);
  }, [scene, view.look]);
  return (
    <div class="picture">
      <div class="views" role="group" aria-label="views">
        <button type="button" onClick={() => scene?.all()}>All of it</button>
        {listAt(values, ["end"]).map((_, k) => <Views key={k} acts={acts} k={k} />)}
      </div>
      <div class="canvas" ref={host} data-test="picture" />
      {view.brush && <p class="painting" role="status">{view.brush.isErasing ? "Erasing" : "Painting"}: drag over the scan, or press Enter to do it in the middle of the picture. The right mouse button and the arrow keys still move the view.</p>}
      {isCoarse && <p class="painting" role="status">The surface is simplified for a moment: all of it is on its way to the screen.</p>}
      {failed && <p role="status">This browser shows no 3D pictures (WebGL 2); all else works.</p>}
    </div>
  );
}

function heard(acts: Acts, paint: (triangles: number[]) => void): Omit<Heard, "onCoarse"> {
  const { state, show, view } = acts;
  const size = Math.max(...(state.scan?.examined?.size ?? [50]));
  return {
    onPick: (at) => show({ picked: at, earlier: view.picked, ring: [{ at, size: size / 60, label: "here" }], outline: null }),
    onPainted: paint,
    onMoved: (id, at, along, isDone) => {
      show({ draft: { id, at, along } });
      if (!isDone) return;
      const [what = "", k = ""] = id.split(" ");
      const way = endWay(Number(k));
      const [place, direction] = [rounded(at), rounded(along)];
      void acts.change(what === "place" ? "moving the fitting" : "moving the cut", what === "place"
        ? [{ path: [...way, "place"], value: { at: place, along: direction } }]
        : [{ path: [...way, "cut"], value: { through: place, facing: direction } }]);
    },
  };
}

/** The knobs of the end in hand. */
function heldAt({ state, view }: Acts, known: Parameters<typeof tubeOf>[2], line: Parameters<typeof tubeOf>[3]): Held[] {
  const k = view.end;
  const size = nearEnd(state, k)?.outside ?? nearEnd(state, k)?.bore ?? 10;
  const drafted = (id: string, to: { at: Triple; along: Triple }) => (view.draft?.id === id ? { at: view.draft.at, along: view.draft.along } : to);
  const [cut, tube] = [cutOf(state, k, line), tubeOf(state, k, known, line)];
  const held: Held[] = [];
  if (cut) held.push({ id: `cut ${k}`, ...drafted(`cut ${k}`, cut), size, isInward: true, knobs: [["along", "slide the cut"], ["tilt", "tilt the cut"]] });
  if (tube) held.push({ id: `place ${k}`, ...drafted(`place ${k}`, tube), size: tube.outside, knobs: [["along", "along"], ["aside", "aside"], ["tilt", "tilt"]] });
  return held;
}

/** The words by which a view of an end is chosen. */
function Views({ acts, k }: { acts: Acts; k: number }) {
  const { state, fly } = acts;
  const values = state.case?.values;
  const known = useFittings();
  const name = nameOf(values, k);
  const site = siteOf(values, k);
  const facing = facingOf(state, k);
  if (!site || !facing) return null;
  const size = numberAt(values, endWay(k, "fitting", "outside")) ?? nearEnd(state, k)?.bore ?? 10;
  const side: Triple = Math.abs(facing[2]) < 0.9 ? [-facing[1], facing[0], 0] : [0, -facing[2], facing[1]];
  // From outside, so that other ends do not stand before this one.
  const others = (state.scan?.examined?.ends ?? []).map((end) => end.centre);
  const out = others.reduce((sum, p) => sum + side.reduce((s, x, i) => s + x * (site[i as 0] - p[i as 0]), 0), 0);
  const across: Triple = out < -1e-6 ? moved([0, 0, 0], side, -1) : side;
  const tube = tubeOf(state, k, known, null);
  return (
    <>
      <button type="button" onClick={() => fly(site, size, facing)}>Along the bore at {name}</button>
      <button type="button" onClick={() => fly(site, size, across)}>Square to the bore at {name}</button>
      {tube && <button type="button" onClick={() => fly(tube.at, size, tube.along)}>From the fitting at {name}</button>}
    </>
  );
}

/** Has a surface in the picture; gives what changes once it is there. */
function useSurface(which: "scan" | "part", key: string, scene: Scene | null): string {
  const [there, setThere] = useState("");
  // Asked for before there is a picture to put it in: making that takes a while, too.
  const asked = useMemo(() => (key ? server.surface(which) : null), [key]);
  useEffect(() => {
    if (!scene) return;
    if (!asked) {
      scene.set(which, null);
      setThere("");
      return;
    }
    let isOld = false;
    asked.then((bytes) => {
      if (isOld) return;
      // Of a large one all that follows waits for the whole.
      void awaited(new Promise<void>((resolve) => scene.set(which, readSurface(bytes), resolve))).then(() => isOld || setThere(key));
    }, () => undefined);
    return () => void (isOld = true);
  }, [asked, scene]);
  return there;
}

/** Shows what lies within reach of the end in hand on the scan that is there; nothing where no line is given. */
function useReach({ state, view }: Acts, scene: Scene | null, scanThere: string, line: Parameters<typeof cutOf>[2] | undefined): void {
  const values = state.case?.values;
  const k = view.end;
  const reach = numberAt(values, endWay(k, "reach"));
  const cut = line === undefined ? null : view.draft?.id === `cut ${k}` ? view.draft : cutOf(state, k, line);
  const rim = line === undefined ? undefined : tripleAt(values, endWay(k, "rim"));
  const through = cut?.at ?? rim;
  const asked = reach && through && scanThere ? { through, facing: cut?.along ?? null, reach } : null;
  const isWished = useRef(false);
  isWished.current = asked !== null;
  const ask = useMemo(
    () => inStep(server.reach, (triangles: Uint32Array, _: ReachAsked) => isWished.current && scene?.reach(triangles)),
    [scene],
  );
  useEffect(() => (asked ? ask(asked) : scene?.reach([])), [scene, JSON.stringify(asked), scanThere]);
}

/** Colours the part by the chosen map. */
function useMap({ state, view }: Acts, scene: Scene | null, isThere: string): void {
  useEffect(() => {
    if (!scene || !isThere) return;
    if (!view.map || !state.result?.has_maps) return scene.colour(null, { from: 0, to: 1 });
    const which = view.map;
    let isOld = false;
    server.map(which).then((map) => isOld || scene.colour(map, rangeOf(which, map, state.result)), () => undefined);
    return () => void (isOld = true);
  }, [scene, view.map, isThere, state.result?.has_maps]);
}

/**
 * Keeps what is painted on the scan that is there as the case has it, but for strokes that
 * are on their way: what comes back of an earlier one must not take them away.
 */
function usePainted(acts: Acts, scene: Scene | null, scanThere: string) {
  const { state } = acts;
  const painted = paintedKeep(state.case?.values);
  const [onTheWay, setOnTheWay] = useState(0);
  // The same, known at once: an answer may come before the page is drawn anew.
  const strokes = useRef(0);
  // A stroke hands over all that is painted: there is none before that is on this scan.
  const [ready, setReady] = useState("");
  useEffect(() => {
    if (!scene || !scanThere || onTheWay > 0) return;
    let isOld = false;
    const put = (triangles: number[] | null) => {
      if (isOld) return;
      if (triangles && strokes.current === 0) scene.paint(triangles);
      setReady(scanThere);
    };
    if (painted) server.keep(painted.k).then(put, () => put(null));
    else put([]);
    return () => void (isOld = true);
  }, [scene, painted?.file, scanThere, onTheWay === 0]);
  const paint = (triangles: number[]) => {
    const count = (by: number) => {
      strokes.current += by;
      setOnTheWay(strokes.current);
    };
    count(1);
    void acts.ask(() => server.paint(triangles)).then(() => count(-1));
  };
  return { paint, isReady: scanThere !== "" && ready === scanThere };
}
