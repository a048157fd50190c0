// What is on its way. A script that drives the page, as the browser tests do, sees by it when
// nothing is.

let out = 0;

function count(by: number): void {
  out += by;
  document.documentElement.dataset.waiting = String(out);
}

/** Counts what is asked in the document's `data-waiting`, until it is answered or fails. */
export function awaited<T>(asked: Promise<T>): Promise<T> {
  count(1);
  return asked.finally(() => count(-1));
}
