// A small invented scan whose numbers are known: a duct along an arc, both walls, both
// ends open.

/** What the duct is like, in millimetres. */
export const DUCT = { bore: 10, outside: 14, bend: 60, turn: 0.7, around: 48, along: 40 };

/** The middle of the duct's bore at a share of its length, and the way off the scan at its far end. */
export function middle(share) {
  const turn = DUCT.turn * share;
  return {
    at: [DUCT.bend * (1 - Math.cos(turn)), 0, DUCT.bend * Math.sin(turn)],
    along: [Math.sin(turn), 0, Math.cos(turn)],
  };
}

/** The duct as a binary STL file. */
export function duct() {
  const { bore, outside, around, along } = DUCT;
  const ring = (k, radius) => {
    const { at, along: way } = middle(k / along);
    return Array.from({ length: around }, (_, i) => {
      const turn = (2 * Math.PI * i) / around;
      const [x, y] = [radius * Math.cos(turn), radius * Math.sin(turn)];
      // Across the way: (cos, 0, -sin) and y.
      return [at[0] + x * way[2], at[1] + y, at[2] - x * way[0]];
    });
  };
  const triangles = [];
  for (const [radius, isOutside] of [[bore / 2, false], [outside / 2, true]]) {
    for (let k = 0; k < along; k++) {
      const [below, above] = [ring(k, radius), ring(k + 1, radius)];
      for (let i = 0; i < around; i++) {
        const j = (i + 1) % around;
        const two = [[below[i], below[j], above[j]], [below[i], above[j], above[i]]];
        triangles.push(...two.map(([a, b, c]) => (isOutside ? [a, b, c] : [a, c, b])));
      }
    }
  }
  const bytes = Buffer.alloc(84 + 50 * triangles.length);
  bytes.write("an invented duct");
  bytes.writeUInt32LE(triangles.length, 80);
  triangles.forEach((corners, t) => {
    corners.flat().forEach((x, k) => bytes.writeFloatLE(x, 84 + 50 * t + 12 + 4 * k));
  });
  return bytes;
}

/** A case for it that holds: a tube at the far end. */
export const CASE = `unit = "mm"

[scan]
file = "duct.stl"
form = "shell"

[[end]]
name = "upper"
rim = [${middle(1).at.map((x) => x.toFixed(4)).join(", ")}]
reach = 8.0
fitting = { kind = "tube", bore = 10.0, outside = 14.0, length = 12.0 }
place = { gap = 8.0 }

[[end]]
name = "lower"
rim = [0.0, 0.0, 0.0]

[limits]
deviation = 0.1
wall_min = 1.2
bore_loss = 0.02
kink = 15.0
`;
