// The strip under everything: the bore along its centreline, before and after.

import { useState } from "preact/hooks";

import type { StationShown } from "../api/messages";
import type { Acts } from "../ui/acts";
import { Choice } from "../ui/fields";
import { digits, percent } from "../ui/format";
import { Term } from "../ui/words";
import { SectionPicture } from "./section-picture";

const WIDTH = 1000;
const HEIGHT = 110;

export function Strip({ acts }: { acts: Acts }) {
  const { result } = acts.state;
  const [name, setName] = useState("");
  const [index, setIndex] = useState(0);
  const lines = result?.ends.filter((end) => end.stations.length > 1) ?? [];
  const end = lines.find((line) => line.name === name) ?? lines[0];
  if (!result || !end) return <div class="strip"><p>The bore along its centreline shows here, before and after, once a part is made.</p></div>;
  const { stations } = end;
  const station = stations[Math.min(index, stations.length - 1)]!;
  const areas = stations.flatMap((s) => [s.area_scan, s.area_part]).filter((a) => a !== null);
  const most = 1.08 * Math.max(...areas);
  const least = 0.92 * Math.min(...areas);
  const [first, last] = [stations[0]!.s, stations.at(-1)!.s];
  const x = (s: number) => (WIDTH * (s - first)) / (last - first || 1);
  const y = (area: number) => HEIGHT - (HEIGHT * (area - least)) / (most - least || 1);
  const line = (of: (s: StationShown) => number | null) =>
    stations.map((s) => [s.s, of(s)] as const).filter(([, a]) => a !== null).map(([s, a]) => `${x(s).toFixed(1)},${y(a!).toFixed(1)}`).join(" ");
  const lost = station.area_scan !== null && station.area_part !== null ? 1 - station.area_part / station.area_scan : null;
  const mark = (k: number) => {
    const to = stations[k];
    if (!to) return;
    setIndex(k);
    acts.show({ station: { at: to.at, facing: to.normal, radius: 0.8 * Math.sqrt(to.area_part ?? to.area_scan ?? 1) } });
  };
  const of = station.area_part !== null && result.has_surface ? "part" : "scan";
  return (
    <div class="strip" role="group" aria-label="bore along the centreline">
      <SectionPicture at={station.at} facing={station.normal} of={of} unit={result.unit} />
      <div>
      <p>
        The <Term of="bore" /> at{" "}
        <Choice label="end shown in the strip" value={end.name} options={lines.map((l) => [l.name, l.name] as const)} onSet={setName} />{" "}
        from {digits(first)} to {digits(last)} {result.unit}, from the scan toward the fitting:{" "}
        <span class="before">area before</span>, <span class="after">area after</span>
      </p>
      <svg viewBox={`0 0 ${WIDTH} ${HEIGHT}`} preserveAspectRatio="none" role="img" aria-label={`area from ${digits(least)} to ${digits(most)} ${result.unit} squared`}>
        <polyline class="before" points={line((s) => s.area_scan)} />
        <polyline class="after" points={line((s) => s.area_part)} />
        <line class="seam" x1={x(0)} x2={x(0)} y1="0" y2={HEIGHT} />
        <line class="mark" x1={x(station.s)} x2={x(station.s)} y1="0" y2={HEIGHT} />
      </svg>
      <input
        type="range" min="0" max={stations.length - 1} step="1" value={Math.min(index, stations.length - 1)}
        aria-label="station" aria-valuetext={`${digits(station.s)} ${result.unit} from the seam`}
        onInput={(event) => mark(Number(event.currentTarget.value))}
      />
      <output data-test="station">
        <Term of="station" /> {digits(station.s)} {result.unit} from the <Term of="seam" />:{" "}
        {station.area_scan !== null && `before ${digits(station.area_scan)} ${result.unit}²`}
        {station.area_scan !== null && station.area_part !== null && ", "}
        {station.area_part !== null && `after ${digits(station.area_part)} ${result.unit}², as a circle of ${digits(2 * Math.sqrt(station.area_part / Math.PI))} ${result.unit}`}
        {lost !== null && (Math.abs(lost) < 1e-6 ? "; nothing lost" : `; ${lost > 0 ? "lost" : "won"} ${percent(Math.abs(lost))}`)}
      </output>
      </div>
    </div>
  );
}
