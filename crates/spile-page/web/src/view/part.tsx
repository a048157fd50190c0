// The part: made on request, told step by step, stopped at any time.

import type { RunShown } from "../api/messages";
import * as server from "../api/server";
import { unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { count, digits } from "../ui/format";
import { Maps } from "./maps";
import { Measured, Opened } from "./opened";
import { Refused, Section } from "./section";

export function PartSection({ acts }: { acts: Acts }) {
  const { state, ask } = acts;
  const { run, result } = state;
  const refused = state.case?.refused;
  return (
    <Section acts={acts} topic="part" title="Part">
      {!state.case && <p>It is made once scan, ends and limits are there.</p>}
      {refused && (
        <>
          <p>It cannot be made yet: {refused.message}.</p>
          {refused.hints.map((hint) => <small key={hint}>{hint}</small>)}
        </>
      )}
      {state.case && run.is !== "running" && (
        <p>
          <button type="button" class="main" disabled={!!refused} onClick={() => ask(server.run)}>Make the part</button>{" "}
          <span class="aside">and its proof; the case is saved as {state.case.file} first.</span>
        </p>
      )}
      <Run acts={acts} run={run} />
      {result?.part && (
        <>
          <p data-test="part">
            The part has {count(result.part.triangles)} triangles and {digits(result.part.volume)} {unitOf(state)}³ of
            material. {count(result.part.triangles_kept)} triangles of the scan are in it as they were,{" "}
            {count(result.part.triangles_replaced)} were replaced.
          </p>
          <label>
            Show the scan{" "}
            <input
              type="range" min="0" max="1" step="0.05" value={acts.view.blend}
              aria-label="from the scan alone to the part alone"
              onInput={(event) => acts.show({ blend: Number(event.currentTarget.value) })}
            />{" "}
            the part
          </label>
          <Maps acts={acts} />
        </>
      )}
      {state.scan?.has_surface && <><Opened acts={acts} /><Measured acts={acts} /></>}
      {result && !result.part && <p>No part closes under these limits; the proof says why.</p>}
      {result?.is_of_this_text === false && (
        <p class="doubt" role="status">The case was changed since: this part is of the earlier one.</p>
      )}
    </Section>
  );
}

function Run({ acts, run }: { acts: Acts; run: RunShown }) {
  switch (run.is) {
    case "idle":
      return null;
    case "stopped":
      return <p role="status" data-test="run">It was stopped. Nothing was written; the earlier part stands.</p>;
    case "done":
      return <p role="status" data-test="run">It took {digits(run.seconds)} s.</p>;
    case "failed":
      return <div data-test="run"><p>It could not be made:</p><Refused refusal={run.refused} /></div>;
    case "running": {
      const last = run.steps.at(-1);
      return (
        <div data-test="run">
          <p role="status">
            Making: {last ? `${last.step}${last.end ? ` at end ${last.end}` : ""}, step ${run.steps.length}` : "beginning"},{" "}
            {digits(Math.round(run.seconds))} s so far.
          </p>
          <p><button type="button" onClick={() => acts.ask(server.stop)}>Stop</button></p>
        </div>
      );
    }
  }
}
