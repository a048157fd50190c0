// The proof: limit by limit, what would have to give, and the files to take away.

import type { ConflictShown, LimitShown, ResultShown, WantedShown } from "../api/messages";
import * as server from "../api/server";
import { numberAt, told, unitOf, wayOfKey } from "../state/values";
import type { Acts } from "../ui/acts";
import { bytes, count, digits, place } from "../ui/format";
import { meaning, Term } from "../ui/words";
import { Section } from "./section";

export function ProofSection({ acts }: { acts: Acts }) {
  const { result, before } = acts.state;
  return (
    <Section acts={acts} topic="proof" title="Proof">
      {!result && <p>The <Term of="proof" /> comes with the part.</p>}
      {result && (
        <>
          <p class={`verdict ${result.verdict}`} data-test="verdict">
            {result.verdict === "held" ? "All limits that are asked are held." : "Not all that is asked is held."}
          </p>
          <ul class="limits">
            {result.limits.map((limit, k) => <Limit key={k} acts={acts} limit={limit} number={k + 1} />)}
          </ul>
          {before && <Beside before={before} now={result} />}
          {result.conflicts.map((conflict, k) => <Conflict key={k} acts={acts} conflict={conflict} />)}
          {result.notes.length > 0 && (
            <details>
              <summary>Choices that were made: {result.notes.length}</summary>
              <ul>{result.notes.map((note) => <li key={note}>{note}</li>)}</ul>
            </details>
          )}
          <Files result={result} />
        </>
      )}
    </Section>
  );
}

/** The result before this one and this one, limit by limit. */
function Beside({ before, now }: { before: ResultShown; now: ResultShown }) {
  const find = (result: ResultShown, like: LimitShown) => result.limits.find((limit) => limit.name === like.name && limit.end === like.end);
  const rows = [...now.limits, ...before.limits.filter((limit) => !find(now, limit))];
  const told = (limit: LimitShown | undefined, unit: string) => {
    if (!limit || limit.measured === null) return limit?.verdict ?? "";
    const { unit: own, scale } = measure(limit.name, unit);
    return `${digits(scale * limit.measured)}${own}, ${limit.verdict}`;
  };
  return (
    <details data-test="beside">
      <summary>Beside the result before: it {before.verdict === "held" ? "held" : "did not hold"}, this one {now.verdict === "held" ? "does" : "does not"}</summary>
      <table>
        <thead><tr><th scope="col">limit</th><th scope="col">before</th><th scope="col">now</th></tr></thead>
        <tbody>
          {rows.map((limit) => (
            <tr key={`${limit.name} ${limit.end}`}>
              <th scope="row">{limit.name}{limit.end && ` at ${limit.end}`}</th>
              <td>{told(find(before, limit), before.unit)}</td>
              <td>{told(find(now, limit), now.unit)}</td>
            </tr>
          ))}
          <tr><th scope="row">triangles</th><td>{before.part ? count(before.part.triangles) : "no part"}</td><td>{now.part ? count(now.part.triangles) : "no part"}</td></tr>
          <tr><th scope="row">material</th><td>{before.part && `${digits(before.part.volume)} ${before.unit}³`}</td><td>{now.part && `${digits(now.part.volume)} ${now.unit}³`}</td></tr>
        </tbody>
      </table>
    </details>
  );
}

/** The unit of a limit's number, and what it is multiplied with to be read. */
function measure(name: string, unit: string): { unit: string; scale: number } {
  if (name === "kink" || name === "kink_border") return { unit: "\u00a0°", scale: 1 };
  if (name === "bore_loss") return { unit: "\u00a0%", scale: 100 };
  if (name === "seam_height") return { unit: "", scale: 1 };
  if (name === "untouched" || name === "mends") return { unit: " missed", scale: 1 };
  if (name === "case") return { unit: " changed", scale: 1 };
  return { unit: `\u00a0${unit}`, scale: 1 };
}

function Limit({ acts, limit, number }: { acts: Acts; limit: LimitShown; number: number }) {
  const { unit, scale } = measure(limit.name, unitOf(acts.state));
  const read = (x: number) => `${digits(scale * x)}${unit}`;
  const { where, bounds } = limit;
  const size = Math.max(...(acts.state.scan?.examined?.size ?? [10]));
  const head = (
    <>
      <b>{limit.name}</b>
      {limit.end && ` at ${limit.end}`}: <i>{limit.verdict}</i>
      {limit.measured !== null && `, ${read(limit.measured)}`}
      {limit.asked !== null && `, asked ${read(limit.asked)}`}
      {/* Beside a thinner scan the limit is the scan's own wall. */}
      {limit.name === "wall_min" && limit.verdict === "held" && limit.measured !== null && limit.asked !== null
        && limit.measured < limit.asked && ", for the scan itself is no thicker there"}
    </>
  );
  return (
    <li class={limit.verdict.replace(" ", "-")} data-limit={limit.name} data-end={limit.end ?? ""}>
      {where ? (
        <button
          type="button"
          title={meaning(limit.name)}
          onClick={() => {
            acts.point(where, size / 50, String(number));
            acts.fly(where, size / 8);
          }}
        >
          {number}. {head}; its worst place
        </button>
      ) : (
        <span>{number}. {head}</span>
      )}
      <details>
        <summary>How it was measured</summary>
        {bounds && <p><Term of="guaranteed bound" />: {read(bounds[0])} to {read(bounds[1])}</p>}
        {where && <p>at {place(where)}</p>}
        <p>{limit.how}</p>
      </details>
    </li>
  );
}

function Conflict({ acts, conflict }: { acts: Acts; conflict: ConflictShown }) {
  const { state } = acts;
  const where = conflict.where;
  const apply = (wanted: WantedShown) => {
    const path = wayOfKey(state, wanted.key, conflict.end);
    acts.change(told(path), [{ path, value: wanted.value }]);
  };
  return (
    <div class="conflict" data-test="conflict">
      <p>
        <Term of="conflict" />: {conflict.limits.join(", ")}
        {conflict.end && ` at ${conflict.end}`} {conflict.limits.length > 1 ? "do" : "does"} not hold
        {conflict.limits.length > 1 && " together"}.{" "}
        {conflict.certain ? "No part at all can hold them." : "This part does not hold; another might."}
      </p>
      {where && (
        <button type="button" onClick={() => acts.fly(where, Math.max(...(state.scan?.examined?.size ?? [10])) / 8)}>
          Look where
        </button>
      )}
      {conflict.would_hold.map((wanted) => {
        const now = numberAt(state.case?.values, wayOfKey(state, wanted.key, conflict.end));
        const isApplied = now === wanted.value;
        return (
          <p key={wanted.key}>
            <button type="button" class="main" disabled={isApplied} onClick={() => apply(wanted)}>
              Set {wanted.key} to {Array.isArray(wanted.value) ? place(wanted.value) : digits(wanted.value)}
            </button>{" "}
            {isApplied ? "It is set; make the part again." : KNOWN[wanted.known_by]}
          </p>
        );
      })}
      {conflict.would_hold.length === 0 && <p>No single value was found that would hold.</p>}
    </div>
  );
}

const KNOWN: Record<string, string> = {
  computed: "This follows from the fitting and these limits alone; other limits were not asked.",
  "judged again": "This very part would hold.",
  "made again": "A part made with it was judged, and holds all limits.",
};

function Files({ result }: { result: ResultShown }) {
  const files = result.files.filter((file) => !file.name.startsWith("inputs/"));
  return (
    <div class="files">
      <h3>Files, in {result.folder}</h3>
      <p class="caution" data-test="caution">{result.caution}</p>
      {result.verdict !== "held" && <p class="doubt">These files are of a part that does not hold all that is asked.</p>}
      <ul class="plain">
        {files.map((file) => (
          <li key={file.name}>
            {file.name === "report.html" && <><a href={server.output(file.name)} target="_blank" rel="noreferrer">Read the report</a>, </>}
            <a href={server.output(file.name)} download={file.name.split("/").at(-1)}>{file.name}</a> ({bytes(file.bytes)})
          </li>
        ))}
      </ul>
    </div>
  );
}
