// The section at the strip's station: bore and outside, and the wall written in.

import { useEffect, useMemo, useState } from "preact/hooks";

import * as server from "../api/server";
import { inStep } from "../state/asked";
import { type Drawn, laid, type Way2 } from "../state/section";
import type { Triple } from "../state/values";
import { digits } from "../ui/format";

interface SectionProps {
  at: Triple;
  facing: Triple;
  of: "scan" | "part";
  unit: string;
}

export function SectionPicture({ at, facing, of, unit }: SectionProps) {
  const [drawn, setDrawn] = useState<Drawn | null>(null);
  const ask = useMemo(
    () => inStep(
      (wish: { at: Triple; facing: Triple; of: "scan" | "part" }) => server.section({ through: wish.at, facing: wish.facing, of: wish.of }),
      ({ loops }, wish) => setDrawn(laid(loops, wish.at, wish.facing)),
    ),
    [],
  );
  useEffect(() => ask({ at, facing, of }), [JSON.stringify([at, facing, of])]);
  if (!drawn || drawn.loops.length === 0) return <p class="section-picture">The plane cuts no closed loop here.</p>;
  const all = drawn.loops.flat();
  const [xs, ys] = [all.map(([x]) => x), all.map(([, y]) => y)];
  const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const size = Math.max(right - left, high - low) * 1.25;
  const [cx, cy] = [(left + right) / 2, (low + high) / 2];
  const path = drawn.loops.map((loop) => `M${loop.map(([x, y]) => `${x.toFixed(4)} ${(-y).toFixed(4)}`).join("L")}Z`).join("");
  const { least, greatest } = drawn;
  const told = least && greatest ? `wall ${digits(least.length)} to ${digits(greatest.length)} ${unit}` : "one wall alone";
  return (
    <figure class="section-picture" data-test="section" data-least={least?.length} data-greatest={greatest?.length}>
      <svg viewBox={`${cx - size / 2} ${-cy - size / 2} ${size} ${size}`} role="img" aria-label={`section of the ${of}: ${told}`}>
        <path d={path} class="wall" fill-rule="evenodd" />
        {[least, greatest].map((way, k) => way && <Written key={k} way={way} size={size} />)}
      </svg>
      <figcaption>Section of the {of}: {told}</figcaption>
    </figure>
  );
}

/** A wall thickness at its place. */
function Written({ way, size }: { way: Way2; size: number }) {
  const { from, to, length } = way;
  // Inside the bore, where there is room.
  const back = Math.hypot(from[0], from[1]) || 1;
  const at = [from[0] * (1 - (0.16 * size) / back), from[1] * (1 - (0.16 * size) / back)] as const;
  return (
    <>
      <line class="measure" x1={from[0]} y1={-from[1]} x2={to[0]} y2={-to[1]} />
      <text x={at[0]} y={-at[1]} font-size={0.1 * size} text-anchor="middle" dominant-baseline="middle">{digits(Number(length.toPrecision(3)))}</text>
    </>
  );
}
