// Colours of the picture. Told apart by lightness too, so that no kind of colour vision
// is needed; none of them is a scale.

/** What triangles belong to, in the order of REGIONS. */
export const REGION_COLOURS = [0x8fabc7, 0xf0b26b, 0xd97a1e, 0x9aa88c, 0x6f7d62, 0xc9b79a];
/** A scan, and where nothing more is known. */
export const SCAN = 0x8fabc7;
/** Marks: findings, worst places, planes. */
export const MARK = 0xb0177a;
/** What would be there: fittings before the part is made. */
export const PLANNED = 0x4c6b2f;
/** Behind everything, by day and by night. */
export const GROUND = { light: 0xf4f5f7, dark: 0x15181d };
/** Knobs to take hold of. */
export const KNOB = 0x0b5394;
/** Painted keeps, and how far reach goes. */
export const KEPT = 0x2f5d50;
export const REACHED = 0xd8c27a;
