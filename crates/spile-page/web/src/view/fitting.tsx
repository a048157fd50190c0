// What is joined at an end: nothing, a tube, a standard cone or socket, or a file.

import type { Edit } from "../api/messages";
import * as server from "../api/server";
import { useFittings } from "../state/asked";
import { endWay, nameOf, nearEnd } from "../state/plan";
import { at, numberAt, textAt, tidy, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { Choice, Num } from "../ui/fields";
import { digits } from "../ui/format";
import { Term } from "../ui/words";

/** Files that hold a fitting. */
const FILES = /\.(stl|ply|obj|3mf|step|stp)$/i;
const STEP = /\.(step|stp)$/i;

export function FittingOf({ acts, k }: { acts: Acts; k: number }) {
  const { state, set } = acts;
  const values = state.case?.values;
  const known = useFittings();
  const name = nameOf(values, k);
  const unit = unitOf(state);
  const kind = textAt(values, endWay(k, "fitting", "kind")) ?? "none";
  const size = textAt(values, endWay(k, "fitting", "size"));
  const file = textAt(values, endWay(k, "fitting", "file"));
  const num = (label: string, key: string) => (
    <Num label={`${name}: ${label}`} unit={unit} value={numberAt(values, endWay(k, "fitting", key))} onSet={(x) => set(endWay(k, "fitting", key), x)} />
  );
  const sized = known.flatMap((one) =>
    one.sizes.map((s) => [`${one.kind} ${s.size}`, `a standard ${one.kind} ${s.size}, ${digits(s.basic_diameter_mm)} mm`] as const));
  const options: (readonly [string, string])[] = [
    ["none", "nothing: a plain, flat end"], ["tube", "a tube"], ...sized, ["file", "a fitting from a file"],
  ];
  const chosen = size ? `${kind} ${size}` : file !== undefined ? "file" : kind;
  if (!options.some(([word]) => word === chosen)) options.push([chosen, chosen]);
  const standing = known.find((one) => one.kind === kind)?.sizes.find((s) => s.size === size);
  const files = state.files.filter((name) => FILES.test(name) && name !== state.scan?.file);
  const join = (file: string) => void set(endWay(k, "fitting"), STEP.test(file) ? { kind: "step", file } : { kind: "mesh", file, unit });
  return (
    <>
      <Choice label={`${name}: fitting`} value={chosen} options={options} onSet={(to) => choose(acts, k, to, files)} />
      {kind === "tube" && (
        <>
          {" "}with a <Term of="bore" /> of {num("bore of the tube", "bore")}, an <Term of="outside" /> of{" "}
          {num("outside of the tube", "outside")} and a length of {num("length of the tube", "length")}
        </>
      )}
      {size !== undefined && (
        <>
          {kind === "cone"
            ? <> with a <Term of="bore" /> of {num("bore of the cone", "bore")}</>
            : <> with an <Term of="outside" /> of {num("outside of the socket", "outside")}</>}
          , its diameter made {kind === "cone" ? "smaller" : "larger"} by {num("allowance on the diameter", "allowance")} for the process
        </>
      )}
      {file !== undefined && (
        <>
          {" "}<Choice label={`${name}: file of the fitting`} value={file} options={[...new Set([file, ...files])].map((f) => [f, f === "" ? "choose one" : f] as const)} onSet={join} />
        </>
      )}
      .
      {standing && <small>{standing.source} {standing.standing}.</small>}
      {file !== undefined && (
        <label class="from-elsewhere">
          From elsewhere: STEP, STL, PLY, OBJ or 3MF{" "}
          <input
            type="file" accept=".stl,.ply,.obj,.3mf,.step,.stp" aria-label={`${name}: fitting's file from elsewhere`}
            onChange={(event) => {
              const given = event.currentTarget.files?.[0];
              if (given) void acts.ask(async () => join(await server.takeFitting(given)));
            }}
          />
        </label>
      )}
    </>
  );
}

/** A fitting needs a place and a reach, a plain end has neither. */
function choose(acts: Acts, k: number, to: string, files: string[]): void {
  const { state } = acts;
  const values = state.case?.values;
  const path = endWay(k);
  if (to === "none") {
    const gone = ["fitting", "place", "reach"].map((key) => ({ path: [...path, key], value: null }));
    return void acts.change("a plain end", gone);
  }
  const near = nearEnd(state, k);
  const bore = Math.floor(10 * (near?.bore ?? 10)) / 10;
  const outside = Math.ceil(10 * (near?.outside ?? bore * 1.25)) / 10;
  const [kind = "", size] = to.split(" ");
  const fitting = to === "tube" ? { kind, bore, outside, length: tidy(1.5 * bore) }
    : to === "file" ? { kind: STEP.test(files[0] ?? "") ? "step" : "mesh", file: files[0] ?? "" }
      : { kind, size, [kind === "cone" ? "bore" : "outside"]: kind === "cone" ? bore : outside };
  const edits: Edit[] = [{ path: [...path, "fitting"], value: fitting }];
  // What is there already stays: another fitting may stand at the same place.
  if (at(values, [...path, "reach"]) === undefined) edits.unshift({ path: [...path, "reach"], value: tidy(0.75 * bore) });
  if (at(values, [...path, "place"]) === undefined) edits.push({ path: [...path, "place"], value: { gap: tidy(0.75 * bore) } });
  void acts.change(to === "tube" ? "a tube" : "another fitting", edits);
}
