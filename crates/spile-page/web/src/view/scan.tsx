// The scan: which file, its size and unit, what it is, and what is wrong with it.

import type { FindingShown } from "../api/messages";
import * as server from "../api/server";
import { numberAt, textAt, unitOf } from "../state/values";
import { type Acts, EFFECTS } from "../ui/acts";
import { Choice, Num } from "../ui/fields";
import { count, digits } from "../ui/format";
import { Term } from "../ui/words";
import { Refused, Section } from "./section";

const UNITS = [["mm", "millimetres"], ["cm", "centimetres"], ["m", "metres"], ["in", "inches"]] as const;
const FORMS = [
  ["shell", "both walls, in one surface"],
  ["sheets", "both walls, in two files"],
  ["bore", "the bore alone; spile makes the wall"],
  ["cavity", "the hollow as a closed surface; spile makes the wall"],
] as const;

export function ScanSection({ acts }: { acts: Acts }) {
  const { state, set } = acts;
  const { scan } = state;
  const values = state.case?.values;
  const form = textAt(values, ["scan", "form"]) ?? "shell";
  const examined = scan?.examined;
  return (
    <Section acts={acts} topic="scan" title="Scan">
      {!scan && <p>Drop a scan anywhere on this page: STL, PLY, OBJ or 3MF. Or a case that you have.</p>}
      <Files acts={acts} />
      {scan?.refused && <Refused refusal={scan.refused} />}
      {scan && !examined && !scan.refused && <p role="status">Looking at {scan.file}…</p>}
      {examined && (
        <>
          <p>
            <b>{scan.file}</b> has <span data-test="triangles">{count(examined.triangles)}</span> triangles in{" "}
            {examined.shells === 1 ? "one piece" : `${count(examined.shells)} pieces`} and is{" "}
            {examined.closed ? "closed" : "open"}. It measures{" "}
            <span data-test="size">{examined.size.map(digits).join(" × ")}</span> {unitOf(state)}.
          </p>
          <p>
            Its lengths are in{" "}
            <Choice label="unit of the scan" value={unitOf(state)} options={UNITS} onSet={(unit) => set(["unit"], unit)} />
            {examined.unit_stated ? ", as the file states." : ". The file does not say."}
          </p>
          {examined.unit_guess !== unitOf(state) && (
            <p class="doubt" role="status">
              {examined.unit_stated
                ? `The file states ${examined.unit_stated}.`
                : `By its size it looks like ${examined.unit_guess}: a part of ${digits(Math.max(...examined.size))} ${unitOf(state)} would be unusual. Check it.`}
            </p>
          )}
          <p>
            It holds <Choice label="what the scan holds" value={form} options={FORMS} onSet={(form) => set(["scan", "form"], form)} />.
            {(form === "bore" || form === "cavity") && (
              <>
                {" "}The wall is to be{" "}
                <Num label="thickness of the wall" unit={unitOf(state)} value={numberAt(values, ["scan", "wall"])} onSet={(x) => set(["scan", "wall"], x)} /> thick.
              </>
            )}
          </p>
          <Findings acts={acts} findings={examined.findings} />
        </>
      )}
    </Section>
  );
}

/** Files of the folder to choose from, and one from elsewhere. */
function Files({ acts }: { acts: Acts }) {
  const { state, ask } = acts;
  const chosen = state.case?.file ?? state.scan?.file;
  return (
    <details open={!state.scan}>
      <summary>Choose another file</summary>
      <ul class="plain">
        {state.files.filter((file) => file !== chosen).map((file) => (
          <li key={file}>
            <button type="button" onClick={() => ask(() => server.open(file))}>{file}</button>
          </li>
        ))}
      </ul>
      <label>
        From elsewhere, copied to the folder {state.folder}:{" "}
        <input
          type="file"
          accept=".stl,.ply,.obj,.3mf,.toml"
          onChange={(event) => {
            const file = event.currentTarget.files?.[0];
            if (file) ask(() => server.take(file));
          }}
        />
      </label>
    </details>
  );
}

function Findings({ acts, findings }: { acts: Acts; findings: FindingShown[] }) {
  if (findings.length === 0) return <p data-test="findings">No defects were found.</p>;
  const unit = unitOf(acts.state);
  return (
    <div data-test="findings">
      {EFFECTS.map(([effect, told]) => {
        const some = findings.map((finding, k) => ({ finding, k })).filter(({ finding }) => finding.effect === effect);
        return some.length > 0 && (
          <details open={effect !== "elsewhere"} key={effect}>
            <summary>{told}: {some.length === 1 ? "one kind" : `${some.length} kinds`}</summary>
            <ul class="plain">
              {some.map(({ finding, k }) => (
                <li key={k}>
                  <button
                    type="button"
                    onClick={() => {
                      acts.point(finding.where, Math.max(finding.size, 0.005 * Math.max(...(acts.state.scan?.examined?.size ?? [1]))), String(k + 1));
                      acts.fly(finding.where, 4 * Math.max(finding.size, 0.01 * Math.max(...(acts.state.scan?.examined?.size ?? [1]))));
                    }}
                  >
                    {k + 1}. {count(finding.count)} × {finding.kind.replaceAll("-", " ")}, the largest {digits(finding.size)} {unit} across
                  </button>
                </li>
              ))}
            </ul>
          </details>
        );
      })}
      <p class="aside">A mend, if one is needed to close the <Term of="part" />, is made by itself and listed in the proof.</p>
    </div>
  );
}
