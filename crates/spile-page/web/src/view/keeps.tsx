// Keeps: places of the scan that must not change at all.

import { at, listAt, numberAt, textAt, tidy, tripleAt, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { Num, Triple } from "../ui/fields";
import { Term } from "../ui/words";
import { Section } from "./section";

export function KeepsSection({ acts }: { acts: Acts }) {
  const { state, set, picked } = acts;
  const values = state.case?.values;
  const keeps = listAt(values, ["keep"]);
  const unit = unitOf(state);
  const radius = tidy((state.scan?.examined?.ends[0]?.bore ?? Math.max(...(state.scan?.examined?.size ?? [10])) / 4) / 5);
  const add = () => {
    if (!picked) return;
    const ball = { at: picked.map((x) => Number(x.toFixed(3))), radius };
    acts.change("one keep more", [{ path: ["keep", keeps.length], value: { ball } }]);
  };
  return (
    <Section acts={acts} topic="keeps" title="Keeps">
      {keeps.length === 0 && <p>Nothing is marked as a <Term of="keep" />: within reach, the scan may change.</p>}
      {keeps.map((_, k) => (
        <p key={k} data-test={`keep-${k}`}>
          {at(values, ["keep", k, "ball"]) !== undefined && (
            <>
              All that touches a ball round <Triple label={`keep ${k + 1}: middle`} value={tripleAt(values, ["keep", k, "ball", "at"])} onSet={(p) => set(["keep", k, "ball", "at"], p)} /> of radius{" "}
              <Num label={`keep ${k + 1}: radius`} unit={unit} value={numberAt(values, ["keep", k, "ball", "radius"])} onSet={(x) => set(["keep", k, "ball", "radius"], x)} /> stays.
            </>
          )}
          {at(values, ["keep", k, "box"]) !== undefined && (
            <>
              All that touches the box from <Triple label={`keep ${k + 1}: least corner`} value={tripleAt(values, ["keep", k, "box", "min"])} onSet={(p) => set(["keep", k, "box", "min"], p)} /> to{" "}
              <Triple label={`keep ${k + 1}: greatest corner`} value={tripleAt(values, ["keep", k, "box", "max"])} onSet={(p) => set(["keep", k, "box", "max"], p)} /> stays.
            </>
          )}
          {textAt(values, ["keep", k, "file"]) && <>The triangles listed in {textAt(values, ["keep", k, "file"])} stay.</>}{" "}
          <button type="button" onClick={() => set(["keep", k], undefined)}>Let it change</button>
        </p>
      ))}
      {state.case && (
        <p>
          <button type="button" disabled={!picked} onClick={add}>
            Keep a ball where I pointed
          </button>{" "}
          {picked ? "" : "Point at the surface in the picture first."}
        </p>
      )}
    </Section>
  );
}
