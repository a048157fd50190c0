// Keeps: places of the scan that must not change at all.

import { useState } from "preact/hooks";

import { moved, paintedKeep, rounded } from "../state/plan";
import { at, listAt, numberAt, textAt, tidy, tripleAt, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { Num, Triple } from "../ui/fields";
import { Term } from "../ui/words";
import { Section } from "./section";

export function KeepsSection({ acts }: { acts: Acts }) {
  const { state, set, setOne, view, show } = acts;
  const { picked, brush } = view;
  const values = state.case?.values;
  const keeps = listAt(values, ["keep"]);
  const unit = unitOf(state);
  const radius = tidy((state.scan?.examined?.ends[0]?.bore ?? Math.max(...(state.scan?.examined?.size ?? [10])) / 4) / 5);
  const add = (keep: unknown) => void acts.change("one keep more", [{ path: ["keep", keeps.length], value: keep }]);
  const ball = () => picked && add({ ball: { at: rounded(picked), radius } });
  const box = () => picked && add({ box: { min: rounded(moved(picked, [-1, -1, -1], Math.sqrt(3) * radius)), max: rounded(moved(picked, [1, 1, 1], Math.sqrt(3) * radius)) } });
  const [chosen, setSize] = useState<number | null>(null);
  const size = chosen ?? radius;
  const painted = paintedKeep(values);
  const canPaint = textAt(values, ["scan", "form"]) !== "sheets" && !!state.scan?.examined;
  const paint = (isErasing: boolean) => show({ brush: brush?.isErasing === isErasing ? null : { radius: size, isErasing }, blend: 0 });
  return (
    <Section acts={acts} topic="keeps" title="Keeps">
      {keeps.length === 0 && <p>Nothing is marked as a <Term of="keep" />: within reach, the scan may change.</p>}
      {keeps.map((_, k) => (
        <p key={k} data-test={`keep-${k}`}>
          {at(values, ["keep", k, "ball"]) !== undefined && (
            <>
              All that touches a ball round <Triple label={`keep ${k + 1}: middle`} value={tripleAt(values, ["keep", k, "ball", "at"])} onSet={(i, x) => setOne(["keep", k, "ball", "at"], i, x)} /> of radius{" "}
              <Num label={`keep ${k + 1}: radius`} unit={unit} value={numberAt(values, ["keep", k, "ball", "radius"])} onSet={(x) => set(["keep", k, "ball", "radius"], x)} /> stays.
            </>
          )}
          {at(values, ["keep", k, "box"]) !== undefined && (
            <>
              All that touches the box from <Triple label={`keep ${k + 1}: least corner`} value={tripleAt(values, ["keep", k, "box", "min"])} onSet={(i, x) => setOne(["keep", k, "box", "min"], i, x)} /> to{" "}
              <Triple label={`keep ${k + 1}: greatest corner`} value={tripleAt(values, ["keep", k, "box", "max"])} onSet={(i, x) => setOne(["keep", k, "box", "max"], i, x)} /> stays.
            </>
          )}
          {textAt(values, ["keep", k, "file"]) && <>The triangles that are painted stay; {textAt(values, ["keep", k, "file"])} lists them.</>}{" "}
          <button type="button" onClick={() => set(["keep", k], undefined)}>Let it change</button>
        </p>
      ))}
      {state.case && (
        <p>
          <button type="button" disabled={!picked} onClick={ball}>Keep a ball where I pointed</button>{" "}
          <button type="button" disabled={!picked} onClick={box}>Keep a box there</button>{" "}
          {picked ? "" : "Point at the surface in the picture first."}
        </p>
      )}
      {state.case && canPaint && (
        <p>
          Or paint on the scan with a brush of radius{" "}
          <Num label="radius of the brush" unit={unit} value={size} onSet={async (x) => {
            if (!(x > 0)) return;
            setSize(x);
            if (brush) show({ brush: { ...brush, radius: x } });
          }} />:{" "}
          <button type="button" aria-pressed={brush?.isErasing === false} onClick={() => paint(false)}>{brush?.isErasing === false ? "Stop painting" : "Paint"}</button>{" "}
          <button type="button" aria-pressed={brush?.isErasing === true} disabled={!painted && !brush?.isErasing} onClick={() => paint(true)}>{brush?.isErasing ? "Stop erasing" : "Erase"}</button>
        </p>
      )}
    </Section>
  );
}
