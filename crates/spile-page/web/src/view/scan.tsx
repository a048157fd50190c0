// The scan: which file, its size and unit, what it is, and what is wrong with it.

import type { Examined, FindingShown, MendedShown } from "../api/messages";
import * as server from "../api/server";
import { numberAt, textAt, unitOf } from "../state/values";
import { type Acts, EFFECTS } from "../ui/acts";
import { Choice, Num } from "../ui/fields";
import { count, digits, place } from "../ui/format";
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
          <Doubt unit={unitOf(state)} examined={examined} />
          <p>
            It holds <Choice label="what the scan holds" value={form} options={FORMS} onSet={(form) => set(["scan", "form"], form)} />.
            {(form === "bore" || form === "cavity") && (
              <>
                {" "}The wall is to be{" "}
                <Num label="thickness of the wall" unit={unitOf(state)} value={numberAt(values, ["scan", "wall"])} onSet={(x) => set(["scan", "wall"], x)} /> thick.
              </>
            )}
          </p>
          {scan?.mended && <Mended acts={acts} mended={scan.mended} />}
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
      <summary>{state.scan ? "Choose another file" : "Choose a file"}</summary>
      <ul class="plain">
        {state.files.filter((file) => file !== chosen && !/\.(step|stp)$/i.test(file)).map((file) => (
          <li key={file}>
            <button type="button" onClick={() => ask(() => server.open(file))}>{file}</button>
          </li>
        ))}
      </ul>
      <label>
        From elsewhere; it is copied to the folder “{state.folder}”:{" "}
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
                    onClick={() => look(acts, finding, k)}
                  >
                    {k + 1}. {count(finding.count)} × {finding.kind.replaceAll("-", " ")}, the largest {digits(finding.size)} {unit} across
                  </button>
                </li>
              ))}
            </ul>
          </details>
        );
      })}
      {acts.state.case && (
        <p>
          <button type="button" onClick={() => acts.ask(server.mend)}>Mend the scan now</button>{" "}
          <span class="aside">It is written beside the scan under a name of its own. Without, what must be mended to close the <Term of="part" /> is mended by itself and listed in the proof.</span>
        </p>
      )}
    </div>
  );
}

/** Flies to a defect and draws its own outline. */
function look(acts: Acts, finding: FindingShown, k: number): void {
  const whole = Math.max(...(acts.state.scan?.examined?.size ?? [1]));
  const label = String(k + 1);
  acts.fly(finding.where, 4 * Math.max(finding.size, 0.01 * whole));
  server.outline(k).then(
    (pairs) => {
      if (pairs.length > 0) acts.show({ outline: { pairs, at: finding.where, label }, ring: [] });
      else acts.point(finding.where, Math.max(finding.size, 0.005 * whole), label);
    },
    () => acts.point(finding.where, Math.max(finding.size, 0.005 * whole), label),
  );
}

/** What speaks against the unit. */
function Doubt({ unit, examined }: { unit: string; examined: Examined }) {
  const { unit_stated: stated, unit_guess: guess } = examined;
  const size = `${digits(Math.max(...examined.size))} ${unit}`;
  const told = stated !== null
    ? stated !== unit && `The file states ${stated}.`
    : guess !== unit
      ? `By its size it looks like ${guess}: a part of ${size} would be unusual. Check it.`
      : unit !== "mm" && `That is guessed from its size: at most scans are in millimetres, and ${size} makes this one look otherwise. Check it.`;
  return told ? <p class="doubt" role="status" data-test="doubt">{told}</p> : null;
}

/** How far a mend has moved the surface; nobody measures a millionth of what scans show. */
const movedBy = (change: number, unit: string): string =>
  change < 1e-6 ? "the surface did not move" : `the surface moved by ${digits(change)} ${unit} at most`;

/** What mending did. */
function Mended({ acts, mended }: { acts: Acts; mended: MendedShown }) {
  const unit = unitOf(acts.state);
  return (
    <details open data-test="mended">
      <summary>It is {mended.of} with {mended.mends.length === 1 ? "one mend" : `${count(mended.mends.length)} mends`}</summary>
      <ol>
        {mended.mends.map((mend, k) => (
          <li key={k}>
            <button type="button" onClick={() => {
              acts.point(mend.where, mend.size / 2, String(k + 1));
              acts.fly(mend.where, 2 * mend.size);
            }}>
              {mend.kind.replaceAll("-", " ")}, {digits(mend.size)} {unit} across; {movedBy(mend.change, unit)}
            </button>
          </li>
        ))}
      </ol>
      {mended.refused.map((left, k) => <p key={k}>Not mended: {left.kind.replaceAll("-", " ")} at {place(left.where)}: {left.why}.</p>)}
    </details>
  );
}
