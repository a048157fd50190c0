// The part to be turned in a report. Written from crates/spile-report/src/turnable.rs; do
// not edit: SPILE_WRITE_TYPES=1 cargo test -p spile-report types

export type Turnable = { 
/**
 * The unit of lengths.
 */
unit: string, 
/**
 * How many points are shown.
 */
points: number, 
/**
 * How many triangles are shown.
 */
triangles: number, 
/**
 * How many of them are the part's own: what changed, and the rest where it is not simplified.
 */
whole: number, 
/**
 * How many triangles the part has.
 */
of: number, 
/**
 * What triangles belong to.
 */
regions: Array<RegionTold>, 
/**
 * What the part can be coloured by.
 */
maps: Array<MapTold>, 
/**
 * The ends.
 */
ends: Array<EndTold>, 
/**
 * The worst places of limits.
 */
places: Array<PlaceTold>, 
/**
 * As packed words: the points' coordinates as `f32`, all first ones, all second ones, all
 * third ones; the triangles' points in the same way; the triangles' regions; each map's
 * values at the points, as `f32`, not a number where there is none.
 */
words: string, };

export type RegionTold = { 
/**
 * In words.
 */
name: string, 
/**
 * `#rrggbb`.
 */
colour: string, };

export type MapTold = { 
/**
 * In words.
 */
name: string, 
/**
 * What its colours are called.
 */
scale: string, 
/**
 * The values at the ends of its colours.
 */
range: [number, number], 
/**
 * Its colours, evenly from end to end, `#rrggbb`.
 */
colours: Array<string>, 
/**
 * The colour where there is no value.
 */
none: string, };

export type EndTold = { 
/**
 * Its name.
 */
name: string, 
/**
 * Its middle.
 */
at: [number, number, number], 
/**
 * Off the scan.
 */
along: [number, number, number], 
/**
 * How wide it is, about.
 */
across: number, };

export type PlaceTold = { 
/**
 * Limit, end and what was measured.
 */
name: string, 
/**
 * Where.
 */
at: [number, number, number], };
