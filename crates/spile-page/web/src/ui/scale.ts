// The one scale of colours: from dark blue over grey-brown to light yellow, a straight line
// in OKLab (Ottosson 2020), so that equal steps look equal, and lightness alone tells
// them apart: no kind of colour vision is needed.

/** What the scale spans. */
export interface Range {
  from: number;
  to: number;
}

export type Three = [number, number, number];

const DARK: Three = [0.3, -0.02, -0.12];
const LIGHT: Three = [0.95, -0.03, 0.13];
/** Where there is no value. */
const NO_VALUE: Three = [0.62, 0.62, 0.62];

/** OKLab to sRGB, each from 0 to 1. */
function srgb([L, a, b]: Three): Three {
  const l = (L + 0.3963377774 * a + 0.2158037573 * b) ** 3;
  const m = (L - 0.1055613458 * a - 0.0638541728 * b) ** 3;
  const s = (L - 0.0894841775 * a - 1.291485548 * b) ** 3;
  const linear: Three = [
    4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s,
    -1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s,
    -0.0041960863 * l - 0.7034186147 * m + 1.707614701 * s,
  ];
  return linear.map((x) => {
    const held = Math.min(1, Math.max(0, x));
    return held <= 0.0031308 ? 12.92 * held : 1.055 * held ** (1 / 2.4) - 0.055;
  }) as Three;
}

const STEPS = 256;
/** The scale's colours in sRGB, from least to most. */
export const SCALE: readonly Three[] = Array.from({ length: STEPS }, (_, k) => {
  const t = k / (STEPS - 1);
  return srgb(DARK.map((x, i) => x + t * (LIGHT[i as 0] - x)) as Three);
});

/** Colours from least to most, and the one where there is no value. */
export interface Colours {
  steps: readonly Three[];
  none: Three;
}

/** Those of the page. */
export const PAGE_COLOURS: Colours = { steps: SCALE, none: NO_VALUE };

/** The colour of a value; what lies beyond the range has its end's. */
export function colourOf(value: number, { from, to }: Range, { steps, none }: Colours = PAGE_COLOURS): Three {
  if (Number.isNaN(value)) return none;
  const t = to > from ? (value - from) / (to - from) : 0.5;
  return steps[Math.round(Math.min(1, Math.max(0, t)) * (steps.length - 1))]!;
}

/** A colour as style sheets have it. */
export const css = (colour: Three): string => `rgb(${colour.map((x) => Math.round(255 * x)).join(" ")})`;

/** How many values lie in each of some bins of equal width. */
export function bins(values: Float32Array, { from, to }: Range, count: number): number[] {
  const found = new Array<number>(count).fill(0);
  for (const value of values) {
    if (Number.isNaN(value)) continue;
    const k = Math.floor((count * (value - from)) / (to - from || 1));
    found[Math.min(count - 1, Math.max(0, k))]! += 1;
  }
  return found;
}
