// Numbers as a person reads them.

/** About four digits, without a tail of zeros. */
export function digits(x: number): string {
  if (x === 0) return "0";
  const size = Math.abs(x);
  if (size >= 1e6 || size < 1e-4) return x.toPrecision(4);
  return String(Number(x.toPrecision(4)));
}

/** A count with its thousands apart. */
export const count = (n: number): string => n.toLocaleString("en").replaceAll(",", "\u202f");

/** Three numbers of a place; what is nothing beside the others is 0. */
export function place(p: number[]): string {
  const least = 1e-6 * Math.max(...p.map(Math.abs));
  return p.map((x) => digits(Math.abs(x) < least ? 0 : x)).join(", ");
}

/** A share of 1 in per cent. */
export const percent = (share: number): string => `${digits(100 * share)} %`;

/** A size of a file. */
export function bytes(n: number): string {
  return n < 1000 ? `${n} bytes` : n < 1e6 ? `${digits(n / 1000)} kB` : `${digits(n / 1e6)} MB`;
}

/** A number as typed; a comma is a decimal point. Undefined where it is none. */
export function typed(text: string): number | undefined {
  const plain = text.trim().replace(",", ".");
  const x = Number(plain);
  return plain === "" || !Number.isFinite(x) ? undefined : x;
}
