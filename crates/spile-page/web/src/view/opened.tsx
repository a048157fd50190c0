// The picture cut open by a plane, and the distance of two places.

import { useState } from "preact/hooks";

import { apart, cutOf, moved, nameOf } from "../state/plan";
import { type Triple, unitOf } from "../state/values";
import type { Acts } from "../ui/acts";
import { Choice } from "../ui/fields";
import { digits, place } from "../ui/format";

const AXES: Record<string, Triple> = { x: [1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] };

/** Cuts the picture open: square to an axis, at the strip's station, at an end or where one pointed. */
export function Opened({ acts }: { acts: Acts }) {
  const { state, view, show } = acts;
  const [how, setHow] = useState("none");
  const [share, setShare] = useState(0);
  const cut = cutOf(state, view.end, null);
  const size = Math.max(...(state.scan?.examined?.size ?? [50]));
  const options: (readonly [string, string])[] = [["none", "nowhere"]];
  if (view.picked) options.push(["x", "across x, where I pointed"], ["y", "across y, where I pointed"], ["z", "across z, where I pointed"]);
  if (view.station) options.push(["station", "at the strip's station"]);
  if (cut) options.push(["cut", `at the cut of ${nameOf(state.case?.values, view.end)}`]);
  const put = (how: string, share: number) => {
    setHow(how);
    setShare(share);
    const base = how === "station" ? view.station && { through: view.station.at, facing: view.station.facing }
      : how === "cut" ? cut && { through: cut.at, facing: cut.along }
        : AXES[how] && view.picked ? { through: view.picked, facing: AXES[how] } : null;
    show({ open: base && { ...base, through: moved(base.through, base.facing, share * size) } });
  };
  return (
    <p>
      The picture is cut open{" "}
      <Choice label="where the picture is cut open" value={view.open ? how : "none"} options={options} onSet={(to) => put(to, 0)} />
      {view.open && (
        <label>
          {" "}and from there{" "}
          <input
            type="range" min="-0.5" max="0.5" step="0.002" value={share} aria-label={`move the opening, ${unitOf(state)}`}
            aria-valuetext={`${digits(share * size)} ${unitOf(state)}`}
            onInput={(event) => put(how, Number(event.currentTarget.value))}
          />{" "}
          {digits(share * size)} {unitOf(state)}
        </label>
      )}
      .{!view.picked && " Point at a place to cut it open there."}
    </p>
  );
}

/** What is between the two places that were pointed at last. */
export function Measured({ acts }: { acts: Acts }) {
  const { view, state } = acts;
  const { picked, earlier } = view;
  if (!picked) return <p class="aside">Point at two places of the picture to measure between them.</p>;
  return (
    <p data-test="measured">
      You pointed at {place(picked)}
      {earlier && <>, and before at {place(earlier)}: <b>{digits(apart(picked, earlier))} {unitOf(state)}</b> apart in a straight line</>}.
    </p>
  );
}
