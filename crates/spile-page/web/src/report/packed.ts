// Words of 32 bits as the report holds them; the layout is that of `packed.rs` of
// spile-report: base 64 of RFC 1950, in it byte planes, in them differences.

/** Unpacks words. */
export async function unpacked(text: string): Promise<Uint32Array> {
  const packed = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  const count = bytes.length / 4;
  const words = new Uint32Array(count);
  let before = 0;
  for (let k = 0; k < count; k++) {
    const less = bytes[k]! | (bytes[count + k]! << 8) | (bytes[2 * count + k]! << 16) | (bytes[3 * count + k]! << 24);
    before = (before + less) >>> 0;
    words[k] = before;
  }
  return words;
}
