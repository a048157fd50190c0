// The limits: what the part must hold, one sentence each.

import type { ComponentChildren } from "preact";

import { inUnit, numberAt, tidy, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { Num } from "../ui/fields";
import { Term, type Word } from "../ui/words";
import { Section } from "./section";

interface LimitProps {
  acts: Acts;
  name: Word;
  unit: string;
  scale?: number;
  /** What to begin with; none where there is nothing to go by. */
  proposal: number;
  before: ComponentChildren;
  after?: string;
  required?: boolean;
}

export function LimitsSection({ acts }: { acts: Acts }) {
  const { state } = acts;
  const unit = unitOf(state);
  const found = state.scan?.examined?.ends[0];
  const wall = found?.outside ? (found.outside - found.bore) / 2 : inUnit(state, 2);
  const bores = [0, 1, 2, 3].map((k) => numberAt(state.case?.values, ["end", k, "fitting", "bore"]));
  const bore = Math.min(...bores.filter((x) => x !== undefined), found?.bore ?? Infinity);
  const deviation = numberAt(state.case?.values, ["limits", "deviation"]) ?? inUnit(state, 0.1);
  if (!state.case) return <Section acts={acts} topic="limits" title="Limits"><p>They come with a scan.</p></Section>;
  return (
    <Section acts={acts} topic="limits" title="Limits">
      <Limit acts={acts} name="deviation" unit={unit} proposal={inUnit(state, 0.1)} required before={<>The scan's surface moves by no more than</>} after="within reach" />
      <Limit acts={acts} name="wall_min" unit={unit} proposal={tidy(0.75 * wall)} before={<>The wall is nowhere thinner than</>} />
      <Limit acts={acts} name="bore_loss" unit="%" scale={100} proposal={0.01} before={<>The <Term of="bore" /> loses no more than</>} after="of its area" />
      <Limit acts={acts} name="kink" unit="°" proposal={10} before={<>Triangles at a <Term of="seam" /> meet at no more than</>} />
      <Limit acts={acts} name="ball_min" unit={unit} proposal={Number.isFinite(bore) ? tidy(0.85 * bore) : inUnit(state, 10)} before={<>A ball passes through that is</>} after="across" />
      <Limit acts={acts} name="chord" unit={unit} proposal={tidy(deviation / 10)} before={<>A fitting's triangles lie within</>} after="of its exact surface" />
    </Section>
  );
}

function Limit({ acts, name, unit, scale, proposal, before, after, required }: LimitProps) {
  const value = numberAt(acts.state.case?.values, ["limits", name]);
  const told = `${Number((proposal * (scale ?? 1)).toPrecision(6))} ${unit}`;
  const isAsked = value !== undefined || required;
  return (
    <p data-limit={name}>
      <Term of={name} />:{" "}
      {isAsked ? (
        <>
          {before} <Num label={name} unit={unit} value={value} {...(scale ? { scale } : {})} onSet={(x) => acts.set(["limits", name], x)} />{after && ` ${after}`}.{" "}
          {!required && <button type="button" onClick={() => acts.set(["limits", name], undefined)}>Do not ask for it</button>}
        </>
      ) : (
        <>
          {name === "chord" ? `a tenth of deviation.` : "measured, not asked."}{" "}
          {proposal > 0 && <button type="button" onClick={() => acts.set(["limits", name], proposal)}>Ask for {told}</button>}
        </>
      )}
    </p>
  );
}
